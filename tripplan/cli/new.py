"""The command ``new``: a centre's own folder to begin with."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from tripplan.cli.common import FINE, REFUSED, Refused, complain

ANY_NAME = "not asked yet"  # stands for the name while the other facts are judged


def new_words(sub: argparse.ArgumentParser) -> None:
    sub.set_defaults(run=_new)
    sub.add_argument("folder", type=Path, metavar="FOLDER", help="folder that is not there yet, or is empty")
    sub.add_argument("--name", help="of the centre")
    sub.add_argument("--country", help="two capitals by ISO 3166, like PT")
    sub.add_argument("--timezone", help="IANA name, like Atlantic/Azores")
    sub.add_argument("--position", help='of the centre, like "47.0512, -17.1234"')
    sub.add_argument("--emergency-number", metavar="NUMBER", help="of the country, as dialled")
    sub.epilog = (
        "What is not given is asked for where somebody sits at the terminal; an empty answer leaves it open, and it "
        "stands in the file as a comment. Only the name is needed. Nothing invented is written."
    )


def _new(options: argparse.Namespace) -> int:
    from tripplan.store.new_folder import ASKED, NotEmpty, begin_folder, faults_of_facts, look_at_new

    given = {key: (getattr(options, key) or "").strip() for key, _, _ in ASKED}
    if wrong := faults_of_facts({**given, "name": given["name"] or ANY_NAME}):
        for key, sentence in wrong:
            complain(f"tripplan new: --{key.replace('_', '-')}: {sentence}")
        return REFUSED
    try:
        look_at_new(options.folder)
    except NotEmpty as error:
        hint = f"; `tripplan serve {options.folder}` shows what it still lacks" if options.folder.is_dir() else ""
        raise Refused(f"tripplan new: {error}{hint}") from error
    if sys.stdin is not None and sys.stdin.isatty():
        for key, words, hint in ASKED:
            if getattr(options, key) is None:
                given[key] = _asked(key, words, hint)
    if not given["name"]:
        raise Refused("tripplan new: the centre's name is missing; give it with --name")
    begin_folder(options.folder, given)
    folder = str(options.folder)
    shown = f'"{folder}"' if " " in folder else folder
    print(f"{folder} is begun, each of its files with comments on what belongs where. Go on in the browser:")
    print(f"  tripplan serve {shown}")
    print("Its first page says step by step what is there, what is missing and where to give it.")
    return FINE


def _asked(key: str, words: str, hint: str) -> str:
    """Ask for one fact until it can be used; an empty answer leaves it open, but for the name."""
    from tripplan.store.new_folder import faults_of_facts

    while True:
        try:
            typed = input(f"{words} ({hint}{'' if key == 'name' else '; empty: left open'}): ").strip()
        except (EOFError, KeyboardInterrupt):
            raise Refused("tripplan new: nothing was written") from None
        if not typed and key != "name":
            return ""
        wrong = faults_of_facts({"name": ANY_NAME, key: typed})
        for _, sentence in wrong:
            complain(sentence)
        if not wrong:
            return typed


COMMANDS = {"new": new_words}
