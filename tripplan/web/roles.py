"""Who may see and do what: one table of every page. A page that is not in it is refused to everybody."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import Final

from tripplan.store.accounts import ASSISTANT, CENTRE, LEADER

ANYBODY: Final = frozenset({""})  # also who has not signed in
EVERY_ROLE: Final = frozenset({LEADER, CENTRE, ASSISTANT})
ONLY_CENTRE: Final = frozenset({CENTRE})
LEADING: Final = frozenset({LEADER, CENTRE})

ROLE_WORDS: Final[Mapping[str, str]] = MappingProxyType(
    {
        LEADER: "leads dives; sees medical papers and next of kin",
        CENTRE: "runs the centre: all that a leader may, and the accounts",
        ASSISTANT: "helps; sees no medical papers and no next of kin",
    }
)

MAY: Final[Mapping[str, frozenset[str]]] = MappingProxyType(
    {
        "static": ANYBODY,
        "healthz": ANYBODY,
        "accounts.sign_in": ANYBODY,
        "accounts.enter": ANYBODY,
        "accounts.leave": EVERY_ROLE,
        "accounts.own": EVERY_ROLE,
        "accounts.change_own": EVERY_ROLE,
        "accounts.listing": ONLY_CENTRE,
        "accounts.add": ONLY_CENTRE,
        "accounts.set_role": ONLY_CENTRE,
        "accounts.lock": ONLY_CENTRE,
        "accounts.unlock": ONLY_CENTRE,
        "accounts.set_password": ONLY_CENTRE,
        "plans.home": EVERY_ROLE,
        "plans.show": EVERY_ROLE,
        "plans.sheet": EVERY_ROLE,
        "plans.briefing": EVERY_ROLE,
        "plans.data": EVERY_ROLE,
        "plans.text": EVERY_ROLE,
        "plans.offline": EVERY_ROLE,
        "plans.ready": EVERY_ROLE,
        "plans.next_possible": EVERY_ROLE,
        "requests.listing": EVERY_ROLE,
        "requests.versions": EVERY_ROLE,
        "requests.new": LEADING,
        "requests.fill_new": LEADING,
        "requests.create": LEADING,
        "requests.edit": LEADING,
        "requests.fill": LEADING,
        "requests.save": LEADING,
        "requests.theirs": LEADING,
        "requests.restore": LEADING,
        "requests.choose_file": LEADING,
        "schedule.listing": EVERY_ROLE,
        "schedule.show": EVERY_ROLE,
        "schedule.progress": EVERY_ROLE,
        "schedule.history": EVERY_ROLE,
        "schedule.trip": EVERY_ROLE,
        "schedule.trip_sheet": EVERY_ROLE,
        "schedule.sheet": EVERY_ROLE,
        "schedule.table": EVERY_ROLE,
        "schedule.data": EVERY_ROLE,
        "schedule.crew": EVERY_ROLE,
        "schedule.group": EVERY_ROLE,
        "schedule.change": LEADING,
        "schedule.theirs": LEADING,
        "schedule.make": LEADING,
        "schedule.stop": LEADING,
        "schedule.hang": LEADING,
        "schedule.keep_trip": LEADING,
        "board.show": EVERY_ROLE,
        "api.answer": EVERY_ROLE,
        "limits.show": EVERY_ROLE,
        "season.show": EVERY_ROLE,
        "start.show": EVERY_ROLE,
        "start.centre": ONLY_CENTRE,
        "start.write_centre": ONLY_CENTRE,
        "start.oxygen": ONLY_CENTRE,
        "start.write_oxygen": ONLY_CENTRE,
        "site_form.new": ONLY_CENTRE,
        "site_form.make": ONLY_CENTRE,
        "site_form.edit": ONLY_CENTRE,
        "site_form.change": ONLY_CENTRE,
        "person_form.new": ONLY_CENTRE,
        "person_form.edit": ONLY_CENTRE,  # medical papers and next of kin
        "person_form.add": ONLY_CENTRE,
        "person_form.change": ONLY_CENTRE,
        "sites.listing": EVERY_ROLE,
        "sites.show": EVERY_ROLE,
        "tides.listing": EVERY_ROLE,
        "tides.show": EVERY_ROLE,
        "roster.table": ONLY_CENTRE,
        "roster.out": ONLY_CENTRE,  # medical papers and next of kin of everybody at once
        "roster.look": ONLY_CENTRE,
        "roster.apply": ONLY_CENTRE,
        "skills.overview": EVERY_ROLE,
        "skills.table": EVERY_ROLE,
        "skills.show": EVERY_ROLE,
        "skills.tick": LEADING,
        "kit.show": EVERY_ROLE,
        "kit.packing": EVERY_ROLE,
        "people.people": EVERY_ROLE,  # the page itself leaves out what an assistant may not see
        "sheets.morning": EVERY_ROLE,
        "sheets.confirm": EVERY_ROLE,  # whoever rings the numbers in the morning
        "sheets.pdf": EVERY_ROLE,
        "sheets.pocket": EVERY_ROLE,
        "sheets.check": EVERY_ROLE,
        "sheets.sheet": EVERY_ROLE,
        "sheets.search": EVERY_ROLE,
        "live.sites": EVERY_ROLE,
        "live.show": EVERY_ROLE,
        "live.board": EVERY_ROLE,
        "next_dive.show": EVERY_ROLE,
        "next_dive.go": LEADING,
        "records.record": EVERY_ROLE,  # these pages leave out how people felt, for who may not see it
        "records.record_table": EVERY_ROLE,
        "records.record_sheet": LEADING,  # it is whole, for whoever signs it
        "records.person": EVERY_ROLE,  # the page itself leaves out what an assistant may not see
        "records.person_sheet": EVERY_ROLE,
        "records.person_table": EVERY_ROLE,
        "live.token": EVERY_ROLE,
        "live.add": EVERY_ROLE,  # the shore watch writes down who goes in and who comes out
        "books.rules": EVERY_ROLE,
        "books.sources": EVERY_ROLE,
        "books.words": EVERY_ROLE,
        "books.about": EVERY_ROLE,
        "coverage.requirements": EVERY_ROLE,
        "guides.listing": EVERY_ROLE,
        "guides.show": EVERY_ROLE,
        "guides.picture": EVERY_ROLE,
    }
)


def may(role: str, endpoint: str | None) -> bool:
    """Return whether a role may use a page; the role of somebody who has not signed in is empty."""
    allowed = MAY.get(endpoint or "", frozenset())
    return allowed == ANYBODY or (bool(role) and role in allowed)


def may_see_private(role: str) -> bool:
    """Return whether a role may see medical papers and next of kin."""
    return role in (LEADER, CENTRE)
