"""The pages for a WSGI server: several processes, on one machine or on several, on one store and one folder.

``tripplan serve`` is a server by itself. Where a centre outgrows it, any WSGI server runs the same pages::

    export TRIPPLAN_FOLDER=/srv/centre
    export TRIPPLAN_STORE=postgresql+psycopg://tripplan@db.example/tripplan
    export TRIPPLAN_PROXY=127.0.0.1
    waitress-serve --listen=127.0.0.1:8080 --no-clear-untrusted-proxy-headers --call tripplan.web.wsgi:create

A server that takes the name of an application instead of a function is given ``tripplan.web.wsgi:app``, which is made
when it is first asked for. One that imports a file by itself is given a file with two lines::

    from tripplan.web.wsgi import create
    application = create()

What the environment says:

TRIPPLAN_FOLDER -- the centre's folder; required. All servers read the same one: with several machines it lies on a disk
    that they share and that knows locks, since what was confirmed and printed is written below it.
TRIPPLAN_STORE -- ``postgresql+psycopg://USER@HOST/NAME`` or ``sqlite:///FILE``; left out: the usual place of that
    folder's store in the user's data folder. SQLite serves several processes of one machine, several machines need
    PostgreSQL. It holds the sessions, the tries to sign in, what forms are signed with, entries, plans, requests and
    jobs: whichever server answers, it is the same.
TRIPPLAN_PROXY -- addresses of the servers in front that speak https, as they call here, parted by commas; ``unix`` for
    one that calls through a socket file. Only their word is taken for who asks and by which connection
    (``X-Forwarded-For`` and ``X-Forwarded-Proto``, one value each). Left out: nobody's is, and the WSGI server speaks
    https itself or says by itself what the one in front told.

Everybody signs in, always: the first account is made by ``tripplan account FOLDER --store URL add NAME --role centre``.
Cookies go over https only. Schedules are made by ``tripplan worker FOLDER --store URL``, at least one, on any machine;
a job whose worker is killed is told as ended within half a minute, and is asked for again.

Every start brings the store to the shape of the program; with servers of two versions at once the older one refuses to
start. The clocks of all machines are set by the network.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from ipaddress import ip_address
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from tripplan.errors import TripplanError

if TYPE_CHECKING:
    from flask import Flask

FOLDER, STORE, PROXY = "TRIPPLAN_FOLDER", "TRIPPLAN_STORE", "TRIPPLAN_PROXY"
BY_SOCKET: Final = "unix"
KINDS_OF_STORE = ("sqlite:///", "postgresql+psycopg://")

Environ = dict[str, Any]
Application = Callable[[Environ, Callable[..., Any]], Iterable[bytes]]
_made: list[Flask] = []


class CannotServe(TripplanError):
    """What the environment says cannot be served; the message says what is accepted."""


@dataclass(frozen=True)
class Settings:
    """What a server is told by its environment."""

    folder: Path
    store: str
    proxies: frozenset[str] = frozenset()

    @classmethod
    def of(cls, environment: Mapping[str, str]) -> Settings:
        """Read the settings.  Raises CannotServe with every fault, one a line."""
        from tripplan.store.database import default_path, sqlite_url

        faults = []
        folder = Path(environment.get(FOLDER, "").strip())
        if not environment.get(FOLDER, "").strip():
            faults.append(f"{FOLDER} is not set; it must be the folder of a centre, like /srv/centre")
        elif not folder.is_dir():
            faults.append(f'{FOLDER} is "{folder}", and there is no such folder')
        store = environment.get(STORE, "").strip()
        if store and not store.startswith(KINDS_OF_STORE):  # it may hold a password: it is not repeated
            faults.append(f"{STORE} begins with neither {' nor '.join(KINDS_OF_STORE)}")
        if store in KINDS_OF_STORE:
            faults.append(f"{STORE} ends after {store}; it must name a file or a database")
        proxies = {each.strip() for each in environment.get(PROXY, "").split(",")} - {""}
        for each in sorted(proxies - {BY_SOCKET}):
            try:
                ip_address(each)
            except ValueError:
                faults.append(f'{PROXY} has "{each}"; it must be an address like 127.0.0.1, or {BY_SOCKET}')
        if faults:
            raise CannotServe("\n".join(faults))
        return cls(folder, store or sqlite_url(default_path(folder)), frozenset(proxies))


class Forwarded:
    """Takes the word of the servers in front, and of nobody else, for who asks and by which connection."""

    def __init__(self, application: Application, proxies: frozenset[str]) -> None:
        """Stand before an application.

        proxies -- their addresses, as they call here
        """
        from werkzeug.middleware.proxy_fix import ProxyFix

        self._plain = application
        self._told = ProxyFix(application, x_for=1, x_proto=1, x_host=0, x_port=0, x_prefix=0)
        self._proxies = frozenset(_known(each) for each in proxies - {BY_SOCKET})
        self._by_socket = BY_SOCKET in proxies

    def __call__(self, environ: Environ, start_response: Callable[..., Any]) -> Iterable[bytes]:
        """Answer a request."""
        caller = str(environ.get("REMOTE_ADDR") or "")
        trusted = _known(caller) in self._proxies if caller else self._by_socket
        return self._told(environ, start_response) if trusted else self._plain(environ, start_response)


def _known(address: str) -> str:
    """Return an address in one way of writing it."""
    try:
        found = ip_address(address.split("%")[0])
    except ValueError:
        return address
    return str(getattr(found, "ipv4_mapped", None) or found)


def create(environment: Mapping[str, str] | None = None) -> Flask:
    """Return the pages as a WSGI application, with accounts in force.

    environment -- where the settings stand; None: the environment of this process

    Raises CannotServe, BadRecord for a centre's file with a fault, and StoreFault for a store that cannot be opened.
    """
    from tripplan.store.accounts import Accounts
    from tripplan.store.database import Store
    from tripplan.web.app import create_app

    settings = Settings.of(os.environ if environment is None else environment)
    if settings.store.startswith("sqlite:///") and not Path(settings.store.removeprefix("sqlite:///")).is_file():
        raise CannotServe(_no_account(settings))  # none is made for a folder that nobody set up
    try:
        store = Store(settings.store)
    except ImportError:
        raise CannotServe(
            f"{STORE} asks for a PostgreSQL driver that is not here: install tripplan[postgresql]"
        ) from None
    try:
        accounts = Accounts(store)
        if not accounts.can_be_managed():
            raise CannotServe(_no_account(settings))
        app = create_app(settings.folder, store=store, accounts=accounts, beyond=True)
    except BaseException:
        store.close()
        raise
    if hasattr(os, "register_at_fork"):  # some servers load the application first, and fork then
        os.register_at_fork(after_in_child=store.after_fork)
    if settings.proxies:
        app.wsgi_app = Forwarded(app.wsgi_app, settings.proxies)  # type: ignore[method-assign]
    return app


def _no_account(settings: Settings) -> str:
    return (
        "everybody has to sign in, and no account of the role centre can; make one with `tripplan account "
        f"{settings.folder} --store URL add NAME --role centre`, where URL is what {STORE} says; without --store where "
        "it says nothing"
    )


def __getattr__(name: str) -> Flask:
    """Make the application when a server first asks for it."""
    if name not in ("app", "application"):
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    if not _made:
        _made.append(create())
    return _made[0]
