"""Edits of what a centre asks for over some days, as small values: posted by a page, kept, told in words, applied."""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Mapping, Sequence
from datetime import date, time
from typing import Annotated, Any, get_args

from pydantic import Field, ValidationError

from tripplan.planning.edit_base import Applied, BaseEdit, EditRefused
from tripplan.planning.edits_of_days import (
    AbsentEdit,
    AddVehicleEdit,
    AddWorkerEdit,
    AllowEdit,
    CloseSiteEdit,
    CompressorEdit,
    ExcludeEdit,
    HoursEdit,
    OpenSiteEdit,
    PinEdit,
    PresentEdit,
    UnpinEdit,
    WorkDayEdit,
)
from tripplan.planning.edits_of_groups import GroupEdit, LeaveOutDiversEdit, WithoutGroupEdit
from tripplan.planning.edits_of_kit import AddCylindersEdit, AddKitEdit
from tripplan.planning.schedule_request import ScheduleRequest, schedule_faults
from tripplan.planning.world import World
from tripplan.record import describe_fault, toml_of

__all__ = [
    "EDITS",
    "MOST_EDITS",
    "AbsentEdit",
    "AddCylindersEdit",
    "AddKitEdit",
    "AddVehicleEdit",
    "AddWorkerEdit",
    "AllowEdit",
    "Applied",
    "CloseSiteEdit",
    "CompressorEdit",
    "Edit",
    "EditRefused",
    "ExcludeEdit",
    "GroupEdit",
    "HoursEdit",
    "LeaveOutDiversEdit",
    "OpenSiteEdit",
    "PinEdit",
    "PresentEdit",
    "UnpinEdit",
    "WithoutGroupEdit",
    "WorkDayEdit",
    "apply",
    "as_toml",
    "edit_words",
    "edits_data",
    "edits_from",
]

MOST_EDITS = 200  # of one list; more is a mistake or an attack
Edit = Annotated[
    PinEdit
    | UnpinEdit
    | ExcludeEdit
    | AllowEdit
    | AbsentEdit
    | PresentEdit
    | CloseSiteEdit
    | OpenSiteEdit
    | AddWorkerEdit
    | AddVehicleEdit
    | WorkDayEdit
    | LeaveOutDiversEdit
    | GroupEdit
    | HoursEdit
    | CompressorEdit
    | AddCylindersEdit
    | AddKitEdit
    | WithoutGroupEdit,
    Field(discriminator="do"),
]
EDITS: Mapping[str, type[BaseEdit]] = {kind.model_fields["do"].default: kind for kind in get_args(get_args(Edit)[0])}


def apply(request: ScheduleRequest, world: World, edits: Sequence[Edit]) -> Applied:
    """Return request and world with the edits made, one after the other; what was given stays as it was.

    Raises EditRefused for the first edit that does not fit: everything that a file could not say either.
    """
    for edit in edits:
        try:
            changed, seen = edit.onto(request, world)
        except EditRefused as error:
            raise EditRefused(error.sentence, edit) from None
        request, world = _judged(changed, edit, (request, world), seen), seen
    return request, world


def _judged(changed: ScheduleRequest, edit: Edit, before: Applied, world: World) -> ScheduleRequest:
    """Return a changed request judged like a file: by its schema, and by names that the world did not miss before."""
    values = changed.model_dump()
    try:
        judged = ScheduleRequest.model_validate(values)
        missed = {sentence for _, sentence in schedule_faults(*before)}
        said = [sentence for _, sentence in schedule_faults(judged, world) if sentence not in missed]
    except ValidationError as error:
        said = describe_fault(error, ScheduleRequest, values)
    if said:
        raise EditRefused(f"This does not fit: {'; '.join(each.rstrip('.') for each in said)}.", edit) from None
    return judged


def edit_words(edit: Edit, world: World | None = None) -> str:
    """Return one plain sentence of what an edit does.

    world -- names the sites; without it they are called by their files' names

    >>> edit_words(AbsentEdit(person="Ines Faro", days=(date(2026, 12, 9),)))
    'Ines Faro is away on 9 December 2026.'
    """
    return edit.words(world)


def edits_data(edits: Iterable[Edit]) -> list[dict[str, Any]]:
    """Return edits as plain values that JSON can hold; ``edits_from`` reads them back as equal edits."""
    return [
        {"do": edit.do, **{key: _plain(value) for key, value in edit.model_dump(exclude_none=True).items()}}
        for edit in edits
    ]


def _plain(value: Any) -> Any:
    if isinstance(value, tuple):
        return [_plain(inner) for inner in value]
    if isinstance(value, time):
        return f"{value:%H:%M}"
    return value.isoformat() if isinstance(value, date) else value


def edits_from(data: object) -> tuple[Edit, ...]:
    """Read edits from plain values that nobody has judged: a list of tables, or a table with such a list at "edits".

    Raises EditRefused with a sentence for every edit that cannot be read.
    """
    listed = data["edits"] if isinstance(data, Mapping) and set(data) == {"edits"} else data
    if not isinstance(listed, list | tuple):
        raise EditRefused(
            f'Edits are {_kind_of(listed)}; accepted: a list of tables with the key "do", or a table whose one key '
            '"edits" holds that list.'
        )
    if len(listed) > MOST_EDITS:
        raise EditRefused(f"There are {len(listed)} edits; at most {MOST_EDITS} are accepted at once.")
    found: list[Any] = []
    faults: list[str] = []
    for number, each in enumerate(listed, 1):
        try:
            found.append(_edit_from(each, number))
        except EditRefused as error:
            faults.append(error.sentence)
    if faults:
        raise EditRefused(" ".join(faults))
    return tuple(found)


def _edit_from(data: object, number: int) -> BaseEdit:
    if not isinstance(data, Mapping) or not all(isinstance(key, str) for key in data):
        raise EditRefused(f'Edit {number} is {_kind_of(data)}; accepted: a table with the key "do".')
    do = data.get("do")
    kind = EDITS.get(do) if isinstance(do, str) else None
    if kind is None:
        known = ", ".join(f'"{each}"' for each in EDITS)
        given = "is missing" if do is None else f"is {_shown(do)}"
        near = difflib.get_close_matches(do, EDITS, n=1) if isinstance(do, str) else []
        hint = f' Did you mean "{near[0]}"?' if near else ""
        raise EditRefused(f"Edit {number}: do {given}; accepted: {known}.{hint}")
    # A page's lists are tuples here; nothing that an edit holds lies deeper than one list.
    values = {key: tuple(value) if isinstance(value, list) else value for key, value in data.items()}
    try:
        return kind.model_validate(values)
    except ValidationError as error:
        said = "; ".join(sentence.rstrip(".") for sentence in describe_fault(error, kind))
        raise EditRefused(f'Edit {number}, "{do}": {said}.') from None


def _shown(value: object) -> str:
    text = f'"{value}"' if isinstance(value, str) else _kind_of(value)
    plain = "".join(c if c.isprintable() else c.encode("unicode_escape", "surrogatepass").decode() for c in text)
    return plain if len(plain) <= 60 else f"{plain[:57]}..."


def _kind_of(value: object) -> str:
    """Say what sort of value was given, in a reader's words."""
    if value is None:
        return "nothing"
    if isinstance(value, bool):
        return "true or false"
    words = ((str, "text"), (Mapping, "a table"), (list | tuple, "a list"), (int | float, "a number"))
    return next((said for kind, said in words if isinstance(value, kind)), "something else")


def as_toml(request: ScheduleRequest) -> str:
    """Return the request as the text of a file that ``schedule_request_from`` reads back as an equal request.

    People and kit that edits added to the world are no part of it: enter them in the centre's own files.
    """
    return f"# Some days of dives, written from the request as it stands.\n{toml_of(request)}"
