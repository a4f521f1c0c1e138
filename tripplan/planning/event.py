"""What happened on the beach, entry by entry: entries are only ever added, and a correction is an entry of its own."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from datetime import date, datetime
from typing import Literal, get_args

from tripplan.errors import OutOfRange

EventKind = Literal[
    "assembled",  # a person is at the site
    "in",  # a person went into the water, on a dive of a group
    "out",  # a person is out of the water
    "left",  # a person left the site
    "count",  # somebody counted: value people, text says where and when ("assemble", "before entry", "after exit", ...)
    "start_bar",  # gauge of a person's cylinder before the dive, value bar
    "end_bar",  # and after it
    "depth",  # greatest depth of a person on the dive, value metres
    "discomfort",  # what a person felt, text; "none" is an answer
    "incident",  # what happened, text
    "signed",  # the diver signs for their dive: by and identity
    "verified",  # an authorised person signs for it: by and identity
    "note",  # anything else, text
    "withdrawn",  # takes back the entry that it corrects, text says why
]
KINDS_OF_EVENT: tuple[EventKind, ...] = get_args(EventKind)
OF_A_PERSON = {"assembled", "in", "out", "left", "start_bar", "end_bar", "depth", "discomfort", "signed", "verified"}
OF_A_DIVE = {"in", "start_bar", "end_bar", "depth", "discomfort", "signed", "verified"}
WITH_VALUE = {"count": (0.0, 500.0), "start_bar": (0.0, 350.0), "end_bar": (0.0, 350.0), "depth": (0.0, 100.0)}
LONGEST_TEXT = 2000
LONGEST_UID = 64
MOST_DIVES = 60  # of one group on one day: more than there can be


@dataclass(frozen=True)
class Event:
    """One entry of a day at a site.

    Raises OutOfRange for an entry that could not be used later: without time zone, person, value or text where its kind
    needs one, or beyond what every kind of store holds.
    """

    uid: str  # made where it is written, 8 to 64 letters, digits and dashes: an entry that arrives twice is one entry
    at: datetime  # aware, by the clock where it was written
    day: date
    site: str
    kind: EventKind
    by: str  # who wrote it
    person: str = ""
    group: str = ""
    dive: int = 0  # of the group's dives that day, from 1; 0: not of a dive
    value: float | None = None
    text: str = ""
    identity: str = ""  # of who signs
    corrects: str = ""  # uid of the entry that this one replaces

    def __post_init__(self) -> None:
        """Refuse what could not be used later."""
        if not re.fullmatch(r"[A-Za-z0-9-]{8,64}", self.uid):
            raise OutOfRange(f'uid is "{self.uid}"; it must be 8 to 64 letters, digits and dashes')
        if self.at.tzinfo is None:
            raise OutOfRange("the time of an entry needs its offset from UTC")
        if self.kind not in KINDS_OF_EVENT:
            raise OutOfRange(f'kind is "{self.kind}"; accepted: {", ".join(KINDS_OF_EVENT)}')
        if not self.by.strip():
            raise OutOfRange("who wrote the entry is missing; give a name")
        if self.kind in OF_A_PERSON and not self.person.strip():
            raise OutOfRange(f'an entry of kind "{self.kind}" is about a person; give a name')
        if self.kind in OF_A_DIVE and (not self.group or self.dive < 1):
            raise OutOfRange(f'an entry of kind "{self.kind}" is about a dive; give its group and number')
        if not 0 <= self.dive <= MOST_DIVES:
            raise OutOfRange(f"the number of the dive is {self.dive:.6g}; it must be from 0 to {MOST_DIVES}")
        if self.value is not None and not math.isfinite(self.value):
            raise OutOfRange(f"the value is {self.value}; it must be a number")
        if len(self.corrects) > LONGEST_UID:
            raise OutOfRange(f"what is corrected has {len(self.corrects)} letters; at most {LONGEST_UID} name an entry")
        if self.kind in WITH_VALUE:
            low, high = WITH_VALUE[self.kind]
            if self.value is None or not low <= self.value <= high:
                raise OutOfRange(f'the value of "{self.kind}" is {self.value}; it must be from {low:g} to {high:g}')
        if self.kind in ("incident", "note", "withdrawn", "discomfort") and not self.text.strip():
            raise OutOfRange(f'an entry of kind "{self.kind}" needs words')
        if self.kind == "withdrawn" and not self.corrects:
            raise OutOfRange("what is taken back is missing; give the uid of the entry")
        if len(self.text) > LONGEST_TEXT:
            raise OutOfRange(f"the text has {len(self.text)} letters; at most {LONGEST_TEXT} are kept")
