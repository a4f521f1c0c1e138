"""The command ``rules``: the rule book."""

from __future__ import annotations

import argparse
from pathlib import Path

from tripplan.cli.common import FINE, add_json, show


def rules_words(sub: argparse.ArgumentParser) -> None:
    sub.set_defaults(run=_rules)
    sub.add_argument("--folder", type=Path, metavar="FOLDER", help="with this centre's own overrides")
    add_json(sub)


def _rules(options: argparse.Namespace) -> int:
    from tripplan.rulebook import baseline

    if options.folder:
        from tripplan.store.folder import load_folder

        book = load_folder(options.folder).world.rules
    else:
        book = baseline()
    if options.json:
        show({"rules": [vars(rule) for rule in book.rules.values()]})
    else:
        for rule in book.rules.values():
            mark = f" (baseline {rule.baseline_value:g}: {rule.reason})" if rule.overridden else ""
            print(f"{rule.key:45} {rule.value:>8g} {rule.unit:10} {rule.provenance:16} {rule.title}{mark}")
    return FINE


COMMANDS = {"rules": rules_words}
