"""Any request that a file could hold, for tests that must hold for all of them."""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta, timezone

from hypothesis import strategies as st

from tripplan.people.group import KINDS
from tripplan.planning.request import (
    CREW_LISTS,
    Altitude,
    Crew,
    DiveWish,
    Drive,
    GroupWish,
    HomeStage,
    RecentDive,
    Request,
)

NOW = datetime(2026, 11, 27, 8, 0, tzinfo=UTC)


def some_text(longest: int, least: int = 1) -> st.SearchStrategy[str]:
    letters = st.characters(codec="utf-8", exclude_categories=("C", "Z")) | st.sampled_from(' ,;"')
    return st.text(letters, min_size=least, max_size=longest).filter(lambda text: len(text.strip()) >= least)


def number(low: float, high: float) -> st.SearchStrategy[float]:
    return st.floats(low, high, exclude_min=low == 0) | st.integers(int(low) + 1, int(high)).map(float)


clocks = st.builds(time, st.integers(0, 23), st.integers(0, 59))
moments = st.builds(
    lambda seconds, minutes: (NOW + timedelta(seconds=seconds)).astimezone(timezone(timedelta(minutes=minutes))),
    st.floats(0, 14 * 86_400),
    st.integers(-12 * 60, 14 * 60),
)
oxygen = number(20.9, 40).filter(lambda share: 20.9 <= share <= 40)


@st.composite
def any_request(draw: st.DrawFn, people: tuple[str, ...]) -> Request:
    """Draw any request that a file could hold, with people of the roster and every field filled now and then."""
    maybe = lambda values: st.none() | values  # noqa: E731 -- it reads as words
    someone = st.sampled_from(people)
    some = st.lists(someone, unique=True, max_size=3).map(tuple)

    def dive() -> DiveWish:
        when = draw(st.sampled_from(("entry", "not_before")))
        return DiveWish(
            depth_m=draw(maybe(number(0, 100))),
            minutes=draw(maybe(st.integers(1, 240))),
            oxygen_percent=draw(oxygen),
            ascents=draw(st.integers(1, 12)),
            course_dive=draw(maybe(st.integers(1, 60))),
            **{when: draw(maybe(clocks))},
        )

    def group(name: str) -> GroupWish:
        names = draw(st.lists(someone, unique=True, min_size=2, max_size=6))
        led = draw(st.booleans())
        divers = tuple(names[1:])
        dry, kind = draw(st.booleans()), draw(st.sampled_from(tuple(KINDS)))
        pairs = None
        if draw(st.booleans()):
            paired = divers if KINDS[kind].led else tuple(names)
            pairs = [paired[at : at + 2] for at in range(0, len(paired) - 1, 2)]
            if len(paired) % 2:
                pairs[-1:] = [(*pairs[-1], paired[-1])] if pairs else []
            pairs = tuple(pairs) or None
        return GroupWish(
            name=name,
            kind=kind,
            leader=names[0] if led else None,
            assistants=() if led else (names[0],),
            divers=divers,
            place=draw(maybe(some_text(20))),
            going_in_by=draw(maybe(some_text(20))),
            coming_out_by=draw(maybe(some_text(20))),
            cylinder_l=draw(maybe(number(1, 40))),
            fill_bar=draw(maybe(number(1, 350))),
            suit_mm=None if dry else draw(maybe(number(0, 30))),
            dry_suit=dry,
            mixes=draw(st.dictionaries(st.sampled_from(divers), oxygen, max_size=3)),
            pairs=pairs,
            dives=tuple(dive() for _ in range(draw(st.integers(1, 6)))),
        )

    def recent() -> object:
        kind = draw(st.sampled_from(("", "none", "rows")))
        if kind != "rows":
            return kind or None
        return tuple(
            RecentDive(
                person=each,
                depth_m=draw(number(0, 100)),
                minutes=draw(st.integers(1, 1440)),
                surfaced=draw(moments),
                altitude_m=draw(maybe(number(-430, 3048))),
                oxygen_percent=draw(oxygen),
            )
            for each in draw(st.lists(someone, unique=True, min_size=1, max_size=3))
        )

    arrived = draw(maybe(clocks))
    names = draw(
        st.lists(some_text(40), min_size=1, max_size=3, unique_by=lambda name: " ".join(name.split()).casefold())
    )
    return Request(
        title=draw(some_text(80, 0)),
        site=draw(some_text(20)),
        date=date(2026, 12, 12),
        crew=Crew(
            dive_director=draw(maybe(someone)),
            beach_phone=draw(maybe(st.sampled_from(("+44 7700 900123", "01632 960100")))),
            **{key: draw(some) for key in CREW_LISTS},
        ),
        altitude=Altitude(arrived=arrived, settled=arrived is None and draw(st.booleans())),
        measured_pressure_bar=draw(maybe(number(0.6, 1.1).filter(lambda bar: 0.6 <= bar <= 1.1))),
        recent_dives=recent(),
        drives_between=tuple(
            Drive(name=draw(some_text(40)), height_m=draw(number(-430, 6000)), leaves=draw(clocks))
            for _ in range(draw(st.integers(0, 2)))
        ),
        way_home=tuple(
            HomeStage(
                name=draw(some_text(40)),
                kind=draw(st.sampled_from(("road", "aircraft", "airliner"))),
                height_m=draw(maybe(number(-430, 13_000))),
                leaves=draw(maybe(clocks)),
            )
            for _ in range(draw(st.integers(0, 2)))
        ),
        groups=tuple(group(name) for name in names),
    )  # fmt: skip
