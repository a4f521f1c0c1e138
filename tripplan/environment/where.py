"""Where something is, as every file of a centre says it: a position, a country, a time zone."""

from __future__ import annotations

import difflib
import re
import zoneinfo
from typing import Annotated

from pydantic import AfterValidator, BeforeValidator, Field

from tripplan.environment.position import BadPosition, Position, read_position


def _position(value: object) -> Position:
    if isinstance(value, Position):
        return value
    if not isinstance(value, str):
        raise ValueError('a position is text in quotes, like "47.0512, -17.1234" or "47 03.072 N, 17 07.404 W"')
    try:
        position = read_position(value)
    except BadPosition as error:
        raise ValueError(str(error).removeprefix(f'"{value}" is ')) from None
    if position.latitude_deg == 0 == position.longitude_deg:
        raise ValueError("0, 0 lies in the Gulf of Guinea, where positions that were never filled in are found")
    return position


def _timezone(value: str) -> str:
    if re.match(r"(Etc/)?GMT[+-]", value):
        raise ValueError("such a zone has its sign turned round and no summer time; give a place, like Atlantic/Azores")
    known = zoneinfo.available_timezones() if not _is_zone(value) else ()
    if known:
        near = difflib.get_close_matches(value, known, n=1)
        hint = f'did you mean "{near[0]}"?' if near else "give an IANA name such as Atlantic/Azores"
        raise ValueError(f"not a time zone known here; {hint}")
    return value


def _is_zone(value: str) -> bool:
    try:
        zoneinfo.ZoneInfo(value)
    except (zoneinfo.ZoneInfoNotFoundError, ValueError, OSError):
        return False
    return True


def _country(value: str) -> str:
    if not re.fullmatch(r"[A-Z]{2}", value):
        raise ValueError('a country is its ISO 3166 code of two capitals, like "PT"')
    return value


Place_ = Annotated[
    Position, BeforeValidator(_position), Field(description='where it is, in quotes, like "47.0512, -17.1234"')
]
CountryCode = Annotated[
    str,
    AfterValidator(_country),
    Field(description="the country's ISO 3166 code; sets how numbers are read"),
]
Timezone = Annotated[str, AfterValidator(_timezone), Field(description="IANA name, like Atlantic/Azores")]
