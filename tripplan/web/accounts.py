"""Signing in and out, the accounts of a centre, and the guard that asks before every page who may see it.

Accounts are in force when others can reach the server, or when the command asks for them. Else there is one person at
this machine, who may do everything and writes a name where one is needed.
"""

from __future__ import annotations

from ipaddress import ip_address
from typing import Any
from urllib.parse import urlsplit

from flask import (
    Blueprint,
    Flask,
    Response,
    abort,
    current_app,
    flash,
    g,
    jsonify,
    redirect,
    render_template,
    request,
    session,
    url_for,
)
from flask.sessions import SecureCookieSessionInterface
from werkzeug.wrappers import Response as BaseResponse

from tripplan.store.accounts import (
    CENTRE,
    LONGEST_NAME,
    LONGEST_PASSWORD,
    ROLES,
    Account,
    AccountRefused,
    Accounts,
    Limits,
    TooManyTries,
    WrongSignIn,
    tell,
)
from tripplan.store.database import StoreFault
from tripplan.web.here import now, shelf
from tripplan.web.kept import kept
from tripplan.web.roles import ROLE_WORDS, may, may_see_private

bp = Blueprint("accounts", __name__)

TRAIL_SHOWN = 50
NOBODY_ASKED = ("static", "healthz")  # answered without a look into the store
FOR_PROGRAMS = ("live.token", "schedule.progress")  # they answer JSON only, and their addresses do not end so
SIGN_IN_FIRST = (
    "You are not signed in, or no longer. Nothing of what you sent was written down. Sign in by the link above in a "
    "tab of its own, then come back here and send it once more: going back shows what you had typed."
)
SIGN_IN_JSON = "You are not signed in, or no longer."
NOT_PROTECTED = (
    "This connection is not protected: whoever is on the same network could read your password. Nothing was checked. "
    "Open the address that begins with https; whoever looks after the program sets it up."
)


# ---- who is there ----


def held() -> Accounts | None:
    """Return the accounts of this app; None while they are not in force."""
    found: Accounts | None = current_app.extensions.get("tripplan_accounts")
    return found


def signed_in() -> Account | None:
    """Return who asks; None for somebody who has not signed in, and while accounts are not in force."""
    found: Account | None = g.get("signed_in")
    return found


def current_role() -> str:
    """Return the role of who asks: centre while accounts are not in force, empty for who has not signed in."""
    if held() is None:
        return CENTRE
    account = signed_in()
    return account.role if account else ""


def current_name() -> str:
    """Return the name of who asks; empty while accounts are not in force: then it is typed where it is needed."""
    account = signed_in()
    return account.name if account else ""


def sees_private() -> bool:
    """Return whether who asks may see medical papers and next of kin."""
    return may_see_private(current_role())


def audit(what: str, about: str = "", who: str = "") -> None:
    """Add a line to the audit trail: what was done, in a few words, and about what or whom.

    who -- the name typed, where nobody signs in

    Nothing is written where the app has no store open. Raises StoreFault when the line could not be kept.
    """
    if held() is not None or current_app.extensions.get("tripplan_store") is not None:
        tell(kept(), now(), current_name() or who, what, about)


def _limits() -> Limits:
    return Limits.of(shelf().world.rules)


def _token() -> str:
    return request.cookies.get(_cookie(), "")


def _cookie() -> str:
    return f"{current_app.config['SESSION_COOKIE_NAME']}_signed_in"


def _secure() -> bool:
    """Return whether a cookie must stay on protected connections."""
    return request.is_secure or bool(current_app.extensions["tripplan_beyond"])


def _protected() -> bool:
    """Return whether a password may come over this connection: by https, or from this very machine."""
    try:
        here = ip_address((request.remote_addr or "").split("%")[0])
    except ValueError:
        return request.is_secure
    mapped = getattr(here, "ipv4_mapped", None) or here
    return request.is_secure or mapped.is_loopback


class _Sessions(SecureCookieSessionInterface):
    """The signed cookie of the forms, kept to protected connections like the other one."""

    def get_cookie_secure(self, app: Flask) -> bool:
        """Return whether the cookie is sent over protected connections only."""
        return _secure()


# ---- the guard ----


def guard(app: Flask, accounts: Accounts | None, *, beyond: bool) -> None:
    """Ask before every page who may see it; must be called before anything else that looks at a request.

    accounts -- None: not in force, everybody may do everything
    beyond -- whether others than this machine can reach the server
    """
    app.extensions["tripplan_accounts"] = accounts
    app.extensions["tripplan_beyond"] = beyond
    app.session_interface = _Sessions()
    if accounts is not None:
        app.secret_key = accounts.signing_secret()

    @app.before_request
    def ask() -> BaseResponse | None:
        g.signed_in = None
        if (found := held()) is None or request.endpoint in NOBODY_ASKED:
            return None
        g.signed_in = found.who(_token(), now(), _limits())
        if may(current_role(), request.endpoint):
            return None
        return _refused()

    @app.after_request
    def keep_to_yourself(response: Response) -> Response:
        if held() is not None and request.blueprint in ("people", "accounts"):
            response.headers["Cache-Control"] = "no-store"
        return response

    @app.context_processor
    def whose() -> dict[str, Any]:
        return {"accounts_on": held() is not None, "signed_in": signed_in()}


def _refused() -> BaseResponse | None:
    """Answer somebody who may not: with the way to sign in, or with what the role may not."""
    account = signed_in()
    if account is None:
        if wants_json():
            return _json(SIGN_IN_JSON, 401)
        if request.method not in ("GET", "HEAD"):
            abort(401, SIGN_IN_FIRST)
        asked = request.full_path.rstrip("?")
        return redirect(url_for("accounts.sign_in", next=asked if asked != "/" else None), code=303)
    if request.routing_exception is not None:  # there is no such page: that is the better answer
        return None
    words = f"Your account has the role {account.role}, and this is not for it. Ask whoever runs the centre."
    if wants_json():
        return _json(words, 403)
    abort(403, words)


def wants_json() -> bool:
    """Return whether the answer is read by a program, such as a page that asks by itself, and not by a person."""
    accepted = request.accept_mimetypes
    return (
        request.is_json
        or request.path.endswith(".json")
        or request.endpoint in FOR_PROGRAMS
        or request.headers.get("Sec-Fetch-Mode", "navigate") != "navigate"
        or (accepted.best_match(("text/html", "application/json")) == "application/json")
    )


def _json(words: str, status: int) -> BaseResponse:
    response = jsonify(error=words)
    response.status_code = status
    return response


def local_path(typed: str) -> str:
    """Return an address of this server to go on to; the first page for anything that could lead elsewhere."""
    home = url_for("plans.home")
    if not typed.startswith("/") or typed.startswith("//") or "\\" in typed or not typed.isprintable():
        return home
    try:
        parts = urlsplit(typed)
    except ValueError:
        return home
    return home if parts.scheme or parts.netloc else typed


# ---- signing in and out ----


def _in_force() -> Accounts:
    return held() or abort(404)


@bp.get("/sign-in")
def sign_in() -> BaseResponse | str:
    """Ask for a name and a password."""
    _in_force()
    onward = local_path(request.args.get("next", ""))
    if signed_in() is not None:
        return redirect(onward, code=303)
    return _sign_in_page("", onward, "" if _protected() else NOT_PROTECTED)


@bp.post("/sign-in")
def enter() -> BaseResponse | tuple[str, int] | tuple[str, int, dict[str, str]]:
    """Sign in, or say why not; the password is never shown again."""
    accounts = _in_force()
    name = " ".join(request.form.get("name", "").split())[:LONGEST_NAME]
    onward = local_path(request.form.get("next", ""))
    if not _protected():
        return _sign_in_page(name, onward, NOT_PROTECTED), 403
    try:
        token, account = accounts.sign_in(
            name, request.form.get("password", ""), address=request.remote_addr or "", now=now(), limits=_limits()
        )
    except TooManyTries as error:
        return _sign_in_page(name, onward, str(error)), 429, {"Retry-After": str(error.wait_s)}
    except WrongSignIn as error:
        return _sign_in_page(name, onward, str(error)), 401
    if old := _token():
        accounts.sign_out(old, now())
    if session.get("whose") != account.key:  # a form that somebody else left open is not good for the next person
        session.clear()
        session["whose"] = account.key
    return _with_token(redirect(onward, code=303), token)


def _sign_in_page(name: str, onward: str, alert: str) -> str:
    return render_template("sign_in.html", name=name, onward=onward, alert=alert, longest_name=LONGEST_NAME)


def _with_token(response: BaseResponse, token: str) -> BaseResponse:
    response.set_cookie(
        _cookie(), token, max_age=_limits().longest, path="/", httponly=True, samesite="Lax", secure=_secure()
    )
    return response


@bp.post("/sign-out")
def leave() -> BaseResponse:
    """End the session."""
    _in_force().sign_out(_token(), now())
    session.clear()
    response = redirect(url_for("accounts.sign_in"), code=303)
    response.delete_cookie(_cookie(), path="/", httponly=True, samesite="Lax", secure=_secure())
    return response


# ---- one's own password ----


@bp.get("/account")
def own() -> str:
    """Show one's own account."""
    _in_force()
    return _page(own_only=True)


@bp.post("/account/password")
def change_own() -> BaseResponse | tuple[str, int] | tuple[str, int, dict[str, str]]:
    """Change one's own password; every other session of the account ends."""
    accounts, account = _in_force(), signed_in()
    if account is None:
        abort(401)
    try:
        token, _ = accounts.change_own(
            account.name,
            request.form.get("old", ""),
            _twice(),
            address=request.remote_addr or "",
            now=now(),
            limits=_limits(),
        )
    except TooManyTries as error:
        return _page(str(error), own_only=True), 429, {"Retry-After": str(error.wait_s)}
    except WrongSignIn:
        return _page("The password that you have now is not right. Nothing was changed.", own_only=True), 400
    except (AccountRefused, StoreFault) as error:
        return _page(_nothing(error), own_only=True), _status(error)
    flash("The password was changed. Whoever was signed in with the old one elsewhere no longer is.")
    return _with_token(redirect(url_for("accounts.own"), code=303), token)


# ---- the accounts of the centre ----


@bp.get("/accounts")
def listing() -> str:
    """Show every account and what happened last."""
    _in_force()
    return _page()


@bp.post("/accounts/add")
def add() -> BaseResponse | tuple[str, int]:
    """Make an account."""
    accounts, form = _in_force(), request.form
    name, role = form.get("name", ""), form.get("role", "")
    try:
        made = accounts.add(name, role, _twice(), by=current_name(), now=now(), limits=_limits())
    except (AccountRefused, StoreFault) as error:
        return _page(_nothing(error), {"name": name[:LONGEST_NAME], "role": role}), _status(error)
    return _done(f"{made.name} may now sign in, with the role {made.role}.")


@bp.post("/accounts/role")
def set_role() -> BaseResponse | tuple[str, int]:
    """Give an account another role."""
    name, role = request.form.get("name", ""), request.form.get("role", "")
    try:
        _in_force().set_role(name, role, by=current_name(), now=now())
    except (AccountRefused, StoreFault) as error:
        return _page(_nothing(error)), _status(error)
    return _done(f"{name} now has the role {role}.")


@bp.post("/accounts/lock")
def lock() -> BaseResponse | tuple[str, int]:
    """Lock an account: its sessions end at once."""
    name = request.form.get("name", "")
    try:
        _in_force().lock(name, by=current_name(), now=now())
    except (AccountRefused, StoreFault) as error:
        return _page(_nothing(error)), _status(error)
    return _done(f"{name} is locked and signed out everywhere.")


@bp.post("/accounts/unlock")
def unlock() -> BaseResponse | tuple[str, int]:
    """Let a locked account sign in again."""
    name = request.form.get("name", "")
    try:
        _in_force().unlock(name, by=current_name(), now=now())
    except (AccountRefused, StoreFault) as error:
        return _page(_nothing(error)), _status(error)
    return _done(f"{name} may sign in again.")


@bp.post("/accounts/password")
def set_password() -> BaseResponse | tuple[str, int]:
    """Give somebody else's account a new password."""
    accounts, name = _in_force(), request.form.get("name", "")
    found, mine = accounts.account(name), signed_in()
    try:
        if found is not None and mine is not None and found.key == mine.key:
            raise AccountRefused("Your own password is changed on the page of your own account, with the old one.")
        accounts.set_password(name, _twice(), by=current_name(), now=now(), limits=_limits())
    except (AccountRefused, StoreFault) as error:
        return _page(_nothing(error)), _status(error)
    return _done(f"{name} has a new password and is signed out everywhere. Tell it to nobody else.")


def _twice() -> str:
    """Return the new password of a form.  Raises AccountRefused where the two do not agree."""
    password = request.form.get("password", "")
    if password != request.form.get("again", ""):
        raise AccountRefused("The two new passwords differ; type the same one twice.")
    return password


def _nothing(error: Exception) -> str:
    return f"Nothing was changed. {str(error).rstrip('.')}."


def _status(error: Exception) -> int:
    return 400 if isinstance(error, AccountRefused) else 500


def _done(words: str) -> BaseResponse:
    flash(words)
    return redirect(url_for("accounts.listing"), code=303)


def _page(alert: str = "", typed: dict[str, str] | None = None, *, own_only: bool = False) -> str:
    accounts = _in_force()
    return render_template(
        "accounts.html",
        own_only=own_only,
        alert=alert,
        typed=typed or {},
        accounts=() if own_only else accounts.listing(),
        trail=() if own_only else accounts.trail(TRAIL_SHOWN),
        roles=ROLES,
        role_words=ROLE_WORDS,
        limits=_limits(),
        longest_name=LONGEST_NAME,
        longest_password=LONGEST_PASSWORD,
    )
