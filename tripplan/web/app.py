"""Put the web face together: pages, words for the templates, headers, plain error pages."""

from __future__ import annotations

import re
import secrets
from collections.abc import Callable
from datetime import UTC, datetime
from hashlib import sha256
from pathlib import Path
from typing import TYPE_CHECKING, Any

from flask import Flask, Response, jsonify, render_template, request
from werkzeug.exceptions import BadRequest, HTTPException, ServiceUnavailable

from tripplan.data_files import data_dir
from tripplan.store.folder import RECORDS_FOLDER
from tripplan.store.told import Teller, cache_folder
from tripplan.web.here import Shelf, shelf
from tripplan.web.steady import Steady

if TYPE_CHECKING:
    from tripplan.store.accounts import Accounts
    from tripplan.store.database import Store

PAGE_OPEN_S = 12 * 3600  # how long a form may stand open: numbers are tried one by one through a morning
STALE_FORM = (
    "The page was open too long or the program was started again: go back, load it again and send it once more. "
    "Nothing of what you sent was written down, and nothing that was written down before is lost."
)

HEADERS = {
    "Content-Security-Policy": (
        "default-src 'none'; script-src 'none'; style-src 'self'; img-src 'self' data:; object-src 'none'; "
        "base-uri 'none'; form-action 'self'; frame-ancestors 'none'"
    ),
    "Permissions-Policy": (  # no page asks a telephone for any of these
        "accelerometer=(), autoplay=(), camera=(), display-capture=(), geolocation=(), gyroscope=(), magnetometer=(), "
        "microphone=(), midi=(), payment=(), publickey-credentials-get=(), usb=()"
    ),
    "Cross-Origin-Resource-Policy": "same-origin",
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "no-referrer",
    "X-Frame-Options": "DENY",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cache-Control": "private, no-cache",  # a plan changes with its files; the file for the phone is the copy to keep
}
ADVICE = {
    400: "Something in the address or the form cannot be used. Go back and change it.",
    401: "You are not signed in, or no longer.",
    403: "Your account may not see or change this. Ask whoever runs the centre.",
    404: "The address may be mistyped, or what stood here is gone. Start from the plan or the list of sites.",
    405: "This address only shows a page. Go back and use the buttons of the page.",
    413: "More was sent than a form of this program holds. Nothing was written down.",
    500: "The program made a mistake. Do not dive on a plan that it did not finish. Nothing of yours was lost; tell "
    "whoever looks after it what you did.",
    503: "Nothing that was kept is lost. Wait a moment and load the page again; if it stays so, go by what is on "
    "paper, and tell whoever looks after the program.",
}
STORE_AWAY_READ = "Nothing was changed."
STORE_AWAY_SENT = (
    "What you sent may not have been written down: go back, where it still stands, and look whether it is there before "
    "you send it once more."
)
NAMES = {
    400: "Something here cannot be used",
    401: "Not signed in",
    403: "Your account may not do this",
    404: "There is no such page",
    405: "Nothing can be sent to this address",
    413: "More was sent than fits",
    500: "A fault of the program",
    503: "The store cannot be used now",
}


def _now() -> datetime:
    return datetime.now(UTC)


OWN_NAMES = ("localhost", "127.0.0.1", "[::1]")
OTHER_NAME = (
    "This program answers on this machine only, and was called by a name that is not this machine's: open the address "
    "that it printed when it was started."
)


def only_here(app: Flask, host: str = "") -> None:
    """Answer only who calls this machine by its own name; for a server at which nobody signs in.

    A page from elsewhere can have a name of its own lead to this machine, and would then read every page like its own.

    host -- another address of this machine on which the server listens
    """
    known = {*OWN_NAMES, f"[{host}]".lower() if ":" in host else host.lower()}

    def by_name() -> Response | None:
        called = request.headers.get("Host", "").lower()
        if re.sub(r":[0-9]*$", "", called) in known:
            return None
        return Response(f"{OTHER_NAME}\n", 400, mimetype="text/plain")  # nothing of the centre, not even its name

    app.before_request_funcs.setdefault(None, []).insert(0, by_name)


def share_forms(app: Flask, store: Store) -> None:
    """Sign forms and name cookies as every server of a store does: a form of one is good at another.

    The name goes by the store and not by the folder, which may lie elsewhere on another machine.  Raises StoreFault.
    """
    from tripplan.store.accounts import signing_secret

    app.secret_key = secret = signing_secret(store)
    app.config["SESSION_COOKIE_NAME"] = f"tripplan_{sha256(f'cookie {secret}'.encode()).hexdigest()[:12]}"


def create_app(
    folder_path: Path,
    *,
    clock: Callable[[], datetime] = _now,
    keep_young: bool = False,
    feed_cache: Path | None = None,
    records: Path | None = None,
    store: Store | None = None,
    accounts: Accounts | None = None,
    beyond: bool = False,
) -> Flask:
    """Return the web app for a centre's folder.

    clock -- gives the time, aware; tests give their own
    keep_young -- move the dates of a demonstration to today
    feed_cache -- where the answers of forecast services are kept; None: in the user's cache
    records -- where what is written down as the day goes is kept; None: in the folder, those of a demonstration, which
               ships with the program, in the user's cache
    store -- what is kept on a database; None: opened in its usual place when a page needs it
    accounts -- who may sign in; None: nobody has to, and whoever asks may do everything
    beyond -- whether others than this machine can reach the server

    Raises BadRecord when the centre's own file cannot be used.
    """
    from flask_wtf.csrf import CSRFError, CSRFProtect

    from tripplan.store.database import StoreFault
    from tripplan.web import accounts as accounts_page
    from tripplan.web import (
        api,
        board,
        books,
        coverage,
        guides,
        kit,
        limits,
        live,
        next,
        people,
        person_form,
        plans,
        requests,
        roster,
        schedule,
        season,
        sheets,
        site_form,
        sites,
        skills,
        start,
        tides,
        words,
    )
    from tripplan.web import records as records_page

    templates = data_dir("templates")
    app = Flask("tripplan.web", template_folder=str(templates / "pages"), static_folder=str(templates / "static"))
    app.config.update(
        SECRET_KEY=secrets.token_hex(32),
        MAX_CONTENT_LENGTH=64_000,
        # Cookies of one machine are shared by all of its ports: two folders served side by side need two names.
        SESSION_COOKIE_NAME=f"tripplan_{cache_folder(folder_path).name}",
        SESSION_COOKIE_SAMESITE="Lax",
        WTF_CSRF_TIME_LIMIT=PAGE_OPEN_S,
        WTF_CSRF_SSL_STRICT=False,  # it asks for a referrer, which the pages never send; the token is asked for always
    )
    if store is not None:
        app.extensions["tripplan_store"] = store
        share_forms(app, store)
    roster.allow_tables(app)
    site_form.allow_long_forms(app)
    accounts_page.guard(app, accounts, beyond=beyond)  # before all else that looks at a request
    CSRFProtect(app)
    if records is None and keep_young:
        records = cache_folder(folder_path) / RECORDS_FOLDER
    app.extensions["tripplan_laid_over"] = lambda folder, read: skills.with_ticks(requests.with_edited(folder, read))
    app.extensions["tripplan_shelf"] = Shelf(folder_path, records)
    app.extensions["tripplan_teller"] = Teller(feed_cache)
    app.extensions["tripplan_clock"] = clock
    app.extensions["tripplan_steady"] = Steady(clock) if clock is _now else None  # a test's clock goes as it likes
    app.extensions["tripplan_young"] = keep_young
    app.jinja_env.trim_blocks = True
    app.jinja_env.lstrip_blocks = True
    words.install(app)
    for module in (
        accounts_page,
        plans,
        requests,
        schedule,
        board,
        limits,
        sites,
        tides,
        season,
        sheets,
        live,
        next,
        records_page,
        people,
        roster,
        books,
        coverage,
        guides,
        skills,
        kit,
        api,
        start,
        site_form,
        person_form,
    ):
        app.register_blueprint(module.bp)

    @app.context_processor
    def everywhere() -> dict[str, Any]:
        folder = shelf()
        return {
            "centre": folder.centre,
            "demonstration": folder.centre.demonstration,
            "faults": folder.faults,
        }

    @app.after_request
    def headers(response: Response) -> Response:
        for name, value in HEADERS.items():
            response.headers.setdefault(name, value)
        return response

    def plain(error: HTTPException, *, to_a_person: bool = False) -> tuple[str | Response, int]:
        code = error.code or 500
        # A sentence of ours, not the library's.
        own = error.description != type(error).description and code in (400, 401, 403, 503)
        advice = error.description if own else ADVICE.get(code, error.description or "")
        name = NAMES.get(code, error.name)
        if accounts_page.wants_json() and not to_a_person:
            return jsonify(error=advice), code
        try:
            return render_template("error.html", code=code, name=name, advice=advice), code
        except Exception:  # the page itself needs the folder, which may be what is broken
            app.logger.exception("the error page failed")
            return Response(f"{name}. {advice}\n", mimetype="text/plain"), code

    app.register_error_handler(HTTPException, plain)

    @app.errorhandler(StoreFault)
    def store_away(error: StoreFault) -> tuple[str | Response, int]:
        app.logger.error("the store: %s", error)
        said = str(error).rstrip(".")
        if accounts_page.wants_json():
            return jsonify(error=said, refused=[]), 503
        sent = STORE_AWAY_READ if request.method in ("GET", "HEAD") else STORE_AWAY_SENT
        return plain(ServiceUnavailable(f"What went wrong: {said}. {sent} {ADVICE[503]}"))

    @app.errorhandler(CSRFError)
    def stale(error: HTTPException) -> tuple[str | Response, int]:
        return plain(BadRequest(STALE_FORM), to_a_person=True)  # by its kind a page knows to fetch another token

    @app.get("/healthz")
    def healthz() -> Response:
        return Response("ok\n", mimetype="text/plain")

    return app
