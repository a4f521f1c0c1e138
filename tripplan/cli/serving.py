"""The commands that serve the pages: ``demo``, ``serve`` and ``worker``."""

from __future__ import annotations

import argparse
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING, Any

from tripplan.cli.centre import look_at_folder, opened_store
from tripplan.cli.common import FINE, Refused

if TYPE_CHECKING:
    from tripplan.store.accounts import Accounts
    from tripplan.store.database import Store

SERVER_THREADS = 12  # some wait for a forecast or the store while the others answer; fewer than a pool of the store has
MOST_CONNECTIONS = 450  # a phone holds up to six; on some systems a program cannot wait on more than 512
LARGEST_QUESTION_BYTES = 16_000_000  # what is longer is refused before it fills the disk; pages take less


def demo_words(sub: argparse.ArgumentParser) -> None:
    sub.set_defaults(run=_serve_demo)
    sub.epilog = (
        "It runs until Ctrl-C. What is typed into it is kept apart, in the user's cache, and never in the shipped "
        "files; an own centre begins with `tripplan new`."
    )
    sub.add_argument("--port", type=int, default=8080, metavar="N", help="port, 0 for any free one (8080)")


def serve_words(sub: argparse.ArgumentParser) -> None:
    sub.set_defaults(run=_serve)
    sub.add_argument("folder", type=Path, metavar="FOLDER", help="folder with sites, stations/, centre/ and requests/")
    sub.add_argument("--port", type=int, default=8080, metavar="N", help="port, 0 for any free one (8080)")
    sub.add_argument("--host", default="127.0.0.1", help="address to listen on (127.0.0.1)")
    sub.add_argument("--accounts", action="store_true", help="ask for a name and a password also on this machine")
    sub.add_argument("--proxy", metavar="ADDRESS", help="of the server in front that speaks https, as it calls here")
    sub.add_argument(
        "--store", metavar="URL", help="sqlite:///FILE or postgresql+psycopg://... (the user's data folder)"
    )
    sub.epilog = (
        "Where others can reach it, by --host or by --proxy, everybody has to sign in: make the first account with "
        "`tripplan account FOLDER add NAME --role centre`. From another machine a password is taken over https only, "
        "so a server that speaks it must stand in front."
    )


def worker_words(sub: argparse.ArgumentParser) -> None:
    sub.set_defaults(run=_worker)
    sub.epilog = "`tripplan serve` and `tripplan demo` start one by themselves; more of them share the work."
    sub.add_argument("folder", type=Path, metavar="FOLDER", help="the centre's folder")
    sub.add_argument("--store", metavar="URL", help="as for `tripplan serve`")


def _serve_demo(options: argparse.Namespace) -> int:
    from tripplan.data_files import data_dir

    return _answer(data_dir("sites"), "127.0.0.1", options.port, keep_young=True)


def _serve(options: argparse.Namespace) -> int:
    from tripplan.store.database import default_path

    beyond = options.proxy is not None or not _loopback(options.host)
    if not (beyond or options.accounts or options.store):
        return _answer(options.folder, options.host, options.port)
    _look_at_port(options.port)
    look_at_folder(options.folder)
    if not options.store and not default_path(options.folder).exists():
        raise Refused(_no_account_yet(options))
    store = opened_store(options.folder, options.store)
    try:
        accounts = None
        if beyond or options.accounts:
            from tripplan.store.accounts import Accounts

            accounts = Accounts(store)
            if not accounts.can_be_managed():
                raise Refused(_no_account_yet(options))
        return _answer(
            options.folder,
            options.host,
            options.port,
            proxy=options.proxy,
            store=store,
            accounts=accounts,
            beyond=beyond,
        )
    finally:
        store.close()


def _no_account_yet(options: argparse.Namespace) -> str:
    why = "with --accounts" if _loopback(options.host) and not options.proxy else "where others can reach it"
    at = options.proxy if options.proxy and _loopback(options.host) else options.host
    return (
        f"tripplan serve: {at}: everybody has to sign in {why}, and no account of the role centre can; make one with "
        f"`tripplan account {options.folder}{' --store URL' if options.store else ''} add NAME --role centre`"
    )


def _loopback(host: str) -> bool:
    """Return whether only this machine can reach an address."""
    from ipaddress import ip_address

    try:
        return ip_address(host).is_loopback
    except ValueError:
        return host == "localhost"


def _look_at_port(port: int) -> None:
    if not 0 <= port <= 65535:
        raise Refused(f"port is {port}; it must be from 0 to 65535")


def _answer(
    folder: Path,
    host: str,
    port: int,
    *,
    keep_young: bool = False,
    proxy: str | None = None,
    store: Store | None = None,
    accounts: Accounts | None = None,
    beyond: bool = False,
) -> int:
    """Serve a folder until interrupted; the address is printed once it answers."""
    from waitress.server import create_server

    from tripplan.store.schedule_jobs import Hired, Place
    from tripplan.web.app import create_app, only_here

    _look_at_port(port)
    app = create_app(folder, keep_young=keep_young, store=store, accounts=accounts, beyond=beyond)
    if accounts is None and not beyond:
        only_here(app, host)
    app.extensions["tripplan_worker"] = worker = Hired(Place(folder, keep_young))
    trusted: dict[str, Any] = {}
    if proxy is not None:  # its word, and nobody else's, is taken for who asks and by which connection
        trusted = {"trusted_proxy": proxy, "trusted_proxy_headers": {"x-forwarded-for", "x-forwarded-proto"}}
    try:
        server = create_server(app, host=host, port=port, ident="tripplan", **_for_many_phones(), **trusted)
    except OSError as error:
        raise Refused(f"port {port} cannot be used: {error.strerror}; give another with --port") from None
    shown = f"[{host}]" if ":" in host else host
    print(f"http://{shown}:{server.effective_port}/", flush=True)  # the socket listens from here on
    try:
        server.run()
    except KeyboardInterrupt:
        server.close()
    finally:
        worker.close()
    return FINE


def _for_many_phones() -> dict[str, Any]:
    """Return how the server is set up so that many phones can hold their connections open, as browsers do.

    Beyond the limit of connections nobody else gets an answer until an old one is given up, minutes later.
    """
    import select

    wanted = MOST_CONNECTIONS + 200  # files and databases besides
    with suppress(ImportError, ValueError, OSError):  # where there is no such limit, or it may not be raised
        import resource

        soft, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
        if soft != resource.RLIM_INFINITY and soft < wanted:
            most = wanted if hard == resource.RLIM_INFINITY else min(wanted, hard)
            resource.setrlimit(resource.RLIMIT_NOFILE, (most, hard))
    return {
        "threads": SERVER_THREADS,
        "connection_limit": MOST_CONNECTIONS,
        "asyncore_use_poll": hasattr(select, "poll"),  # it bears more connections than the other way
        "channel_timeout": 60,
        "cleanup_interval": 15,
        "max_request_body_size": LARGEST_QUESTION_BYTES,
    }


def _worker(options: argparse.Namespace) -> int:
    from tripplan.store.schedule_jobs import Place, run_worker

    look_at_folder(options.folder)
    store = opened_store(options.folder, options.store)
    store.close()
    run_worker(store.url, Place(options.folder))
    return FINE


COMMANDS = {"demo": demo_words, "serve": serve_words, "worker": worker_words}
