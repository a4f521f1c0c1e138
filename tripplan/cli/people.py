"""The command ``people``: a centre's list, out to a table and in from one."""

from __future__ import annotations

import argparse
from datetime import UTC, date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from tripplan.cli.centre import look_at_folder, store_address, store_there
from tripplan.cli.common import FINE, REFUSED, Refused, add_json, complain, counted, show, write_whole

if TYPE_CHECKING:
    from tripplan.people.table import Preview
    from tripplan.store.people_file import CentrePeople


def people_words(sub: argparse.ArgumentParser) -> None:
    sub.set_defaults(run=_people)
    sub.epilog = (
        "An import shows what it would do and writes nothing without --apply. A column that the table does not have "
        "stays as it is, an empty cell takes a value away, and nobody is removed. The list is written anew, without "
        "its remarks; the one before is kept beside it. Of an .xlsx the first sheet is read. Exit 2: the table has a "
        "fault, also where the good rows were written."
    )
    sub.add_argument("folder", type=Path, metavar="FOLDER", help="the centre's folder")
    way = sub.add_mutually_exclusive_group()
    way.add_argument("--export", metavar="FILE", help="write everybody to a .csv or .xlsx; - prints CSV")
    way.add_argument("--import", dest="table", type=Path, metavar="FILE", help="show what a .csv or .xlsx would change")
    way.add_argument(
        "--purge", action="store_true", help="list whose papers have been kept long enough; nothing is changed"
    )
    sub.add_argument(
        "--store", metavar="URL", help="with --purge: of the entries of the beach, as for `tripplan serve`"
    )
    sub.add_argument(
        "--without-private", action="store_true", help="export no medical, guardian, next of kin and notes"
    )
    sub.add_argument("--apply", action="store_true", help="write it, where no row has a fault")
    sub.add_argument(
        "--good-rows", action="store_true", help="with --apply: leave rows with a fault out, write the others"
    )
    add_json(sub)


def _people(options: argparse.Namespace) -> int:
    from tripplan.store.people_file import centre_people

    if options.without_private and not options.export:
        raise Refused("--without-private says what --export leaves out; give --export FILE too")
    if options.apply and not options.table:
        raise Refused("--apply writes what --import shows; give --import FILE too")
    if options.store and not options.purge:
        raise Refused("--store says whose entries --purge looks at; give --purge too")
    if options.good_rows and not options.apply:
        raise Refused("--good-rows says what --apply leaves out; give --apply too")
    if options.export == "-" and options.json:
        raise Refused("--export - prints the table itself; leave --json out, or export to a file")
    centre = centre_people(options.folder)
    if options.export:
        return _export_people(centre, options)
    if options.table:
        return _import_people(centre, options)
    if options.purge:
        return _old_papers(centre, options)
    people = centre.roster.people.values()
    if options.json:
        show({"people": [{"name": p.name, "identity": p.identity, "level": p.level.value} for p in people]})
    else:
        for person in people:
            print(f"{person.name:30} {person.level.words}")
        print(f"{len(people)} {'person' if len(people) == 1 else 'people'}")
    return FINE


def _old_papers(centre: CentrePeople, options: argparse.Namespace) -> int:
    """List whose papers have been kept long enough; the list itself is the centre's to change."""
    from tripplan.store.purge import last_days, past_keeping

    url = store_address(options)
    seen: dict[str, date] = {}
    if options.store or Path(url.removeprefix("sqlite:///")).is_file():
        store = store_there(url)
        try:
            seen = last_days(store)
        finally:
            store.close()
    rules = look_at_folder(options.folder)
    rule = rules["retention.medical_days"]
    old, undated = past_keeping(centre.roster.people.values(), rules, datetime.now(UTC).date(), seen)
    if options.json:
        people = [{"name": each.name, "last": each.last.isoformat()} for each in old]
        show({"kept_long_enough": people, "without_any_date": list(undated), "days": rule.value})
        return FINE
    for each in old:
        print(f"{each.name:30} last dive, medical paper or entry {each.last}")
    for name in undated:
        print(f"{name:30} no date known: ask, or take them out")
    if not (old or undated):
        print(f"Nobody: everybody has a dive, a medical paper or an entry of the last {rule.value:g} days.")
        return FINE
    print(
        f"{rule.key} is {rule.value:g}: take those with a date out of {centre.path}, by an editor, since this program "
        "never takes anybody out and an import removes nobody. Write the list to a table first with --export, where "
        "you still need it. A request that names somebody who is gone can no longer be planned."
    )
    return FINE


def _export_people(centre: CentrePeople, options: argparse.Namespace) -> int:
    from tripplan.people.table import COLUMNS, PRIVATE_COLUMNS, rows_of
    from tripplan.store.people_file import write_table

    rows = rows_of(centre.roster, private=not options.without_private)
    if options.export == "-":
        print(write_table(rows, "people.csv").decode("utf-8-sig").replace("\r\n", "\n"), end="")
        return FINE
    write_whole(Path(options.export), write_table(rows, options.export))
    if options.json:
        left_out = list(PRIVATE_COLUMNS) if options.without_private else []
        columns = [name for name in COLUMNS if name not in left_out]
        show({"file": options.export, "people": len(rows), "columns": columns, "left_out": left_out})
    else:
        print(f"{options.export}: {len(rows)} {'person' if len(rows) == 1 else 'people'}")
    return FINE


def _import_people(centre: CentrePeople, options: argparse.Namespace) -> int:
    """Show what a table would change, and write it where that is asked for and nothing stands against it."""
    from tripplan.people.table import people_from
    from tripplan.store.people_file import LARGEST_TABLE_BYTES, people_toml, read_table, save_people

    if not options.table.is_file():  # a pipe or a device would never end
        raise Refused(f"{options.table}: there is no such file")
    with options.table.open("rb") as stream:
        content = stream.read(LARGEST_TABLE_BYTES + 1)
    preview = people_from(read_table(content, str(options.table)), centre.cards, centre.roster)
    for fault in preview.faults:
        place = f"{options.table}:{fault.row}: "
        complain(place + (f"{fault.column}: " if fault.column else "") + fault.message)
    change = bool(preview.new or preview.changed)
    applied = options.apply and change and (options.good_rows or not preview.faults)
    kept = None
    if applied:
        text = people_toml(preview.people)
        kept = save_people(centre.path, text, datetime.now(UTC).astimezone(), centre.cards, centre.mark)
    if options.json:
        show({**_preview_json(preview), "applied": applied, "kept": str(kept) if kept else None})
    else:
        _print_preview(preview)
        if applied:
            print(f"{centre.path}: written" + (f"; the list before is kept as {kept.name}" if kept else ""))
        elif not change:
            print("Nothing was written: there is nothing to change.")
        elif options.apply:
            print("Nothing was written: rows have faults; mend them, or leave them out with --good-rows.")
        else:
            print("Nothing was written: this shows what --apply would do.")
    return REFUSED if preview.faults else FINE


def _preview_json(preview: Preview) -> dict[str, Any]:
    """Return what an import would do as plain values."""
    return {
        "new": [{"row": one.row, "name": one.person.name} for one in preview.new],
        "changed": [
            {"row": one.row, "name": one.name, "fields": [vars(change) for change in one.fields]}
            for one in preview.changed
        ],
        "unchanged": list(preview.unchanged),
        "left_out": list(preview.left_out),
        "faults": [vars(fault) for fault in preview.faults],
        "duplicates": [vars(one) for one in preview.duplicates],
        "unknown_columns": [vars(one) for one in preview.unknown_columns],
        "missing_columns": list(preview.missing_columns),
    }


def _print_preview(preview: Preview) -> None:
    for one in preview.new:
        print(f"new        {one.person.name}, born {one.person.born}, {one.person.level.words} (row {one.row})")
    for each in preview.changed:
        print(f"changed    {each.name} (row {each.row})")
        for change in each.fields:
            print(f"             {change.field}: {_cell(change.before)} -> {_cell(change.after)}")
    if preview.left_out:
        rows = [str(row) for row in preview.left_out]
        print(f"left out   row{'s' if len(rows) > 1 else ''} {', '.join(rows)}")
    others = len(preview.people) - len(preview.new) - len(preview.changed) - len(preview.unchanged)
    print(
        f"{len(preview.new)} new, {len(preview.changed)} changed, {len(preview.unchanged)} unchanged, "
        f"{counted(len(preview.left_out), 'row')} left out; {others} others of the list stay as they are"
    )


def _cell(text: str) -> str:
    """Return the text of a cell on one line."""
    return " ".join("".join(c if c.isprintable() else " " for c in text).split()) or "nothing"


COMMANDS = {"people": people_words}
