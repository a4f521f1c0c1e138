"""The command ``account``: who may sign in."""

from __future__ import annotations

import argparse
import sys
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

from tripplan.cli.centre import look_at_folder, opened_store, who_types
from tripplan.cli.common import FINE, Parser, Refused, add_json, counted, show

if TYPE_CHECKING:
    from tripplan.store.accounts import Accounts


def account_words(sub: argparse.ArgumentParser) -> None:
    sub.set_defaults(run=_account)
    sub.epilog = "A password is typed at the prompt, twice, or comes as one line by --password-stdin; never as a word."
    sub.add_argument("folder", type=Path, metavar="FOLDER", help="the centre's folder")
    sub.add_argument("--store", metavar="URL", help="as for `tripplan serve`")
    actions = sub.add_subparsers(required=True, metavar="ACTION", parser_class=Parser, dest="action")
    for action, words in (
        ("add", "make an account"),
        ("list", "list the accounts"),
        ("lock", "lock an account and sign it out everywhere"),
        ("unlock", "let a locked account sign in again"),
        ("password", "set a new password and sign the account out everywhere"),
    ):
        each = actions.add_parser(action, help=words, description=f"{words.capitalize()}.")
        if action == "list":
            add_json(each)
            continue
        each.add_argument("name", metavar="NAME", help='who signs in, like "Greta Holm"')
        if action == "add":
            each.add_argument("--role", required=True, choices=("leader", "centre", "assistant"), help="what it may do")
        if action in ("add", "password"):
            each.add_argument("--password-stdin", action="store_true", help="read the password from standard input")


def _account(options: argparse.Namespace) -> int:
    from tripplan.store.accounts import Accounts, Limits

    limits = Limits.of(look_at_folder(options.folder))
    password = _password(options) if options.action in ("add", "password") else ""
    store = opened_store(options.folder, options.store)
    try:
        accounts = Accounts(store)
        if options.action == "list":
            _list_accounts(accounts, options.json)
            return FINE
        moment, by, name = datetime.now(UTC), who_types(), options.name
        if options.action == "add":
            made = accounts.add(name, options.role, password, by=by, now=moment, limits=limits)
            print(f"{made.name} may now sign in, with the role {made.role}.")
        elif options.action == "password":
            accounts.set_password(name, password, by=by, now=moment, limits=limits)
            print(f"{name} has a new password and is signed out everywhere.")
        elif options.action == "lock":
            accounts.lock(name, by=by, now=moment, keep_one=False)
            print(f"{name} is locked and signed out everywhere.")
        else:
            accounts.unlock(name, by=by, now=moment)
            print(f"{name} may sign in.")
    finally:
        store.close()
    return FINE


def _list_accounts(accounts: Accounts, as_json: bool) -> None:
    found = accounts.listing()
    if as_json:
        show(
            {
                "accounts": [
                    {
                        "name": each.name,
                        "role": each.role,
                        "locked": each.locked,
                        "created": each.created.isoformat(),
                        "password_changed": each.password_changed.isoformat(),
                    }
                    for each in found
                ]
            }
        )
        return
    for each in found:
        print(f"{each.name:30} {each.role:10} {'locked' if each.locked else ''}".rstrip())
    print(f"{counted(len(found), 'account')}")


def _password(options: argparse.Namespace) -> str:
    """Return a new password, typed twice without being shown, or from standard input.  Raises Refused."""
    if options.password_stdin:
        return sys.stdin.readline().rstrip("\r\n")
    if not sys.stdin.isatty():
        raise Refused("tripplan account: there is no keyboard to type a password at; give it by --password-stdin")
    from getpass import getpass

    try:
        password = getpass(f"New password of {options.name}: ")
        if getpass("The same again: ") != password:
            raise Refused("the two passwords differ; nothing was changed")
    except (EOFError, KeyboardInterrupt):
        raise Refused("no password was typed; nothing was changed") from None
    return password


COMMANDS = {"account": account_words}
