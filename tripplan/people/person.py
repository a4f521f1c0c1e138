"""A person: diver or staff, as far as a day plan needs to know them."""

from __future__ import annotations

from datetime import date
from typing import Literal

from pydantic import Field

from tripplan.people.level import Level
from tripplan.people.skills import as_compared
from tripplan.record import OneLine, PhoneNumber, Record

CENTRE_LANGUAGE = "centre"  # what stands for the centre's own language, whichever that is
KitName = Literal["mask", "snorkel", "fins", "boots", "suit", "weights", "cylinder", "regulator", "buoyancy_device"]


class Weighting(Record):
    """Lead that was found right in the water, and in what: from it another water, suit or cylinder is reckoned."""

    lead_kg: float = Field(ge=0, le=40, description="lead, kilograms, 0 to 40")
    all_on_kg: float = Field(
        ge=20, le=400, description="the diver with everything on, near-empty cylinder and lead too, weighed dry, kg"
    )
    density_kg_m3: float = Field(ge=980, le=1250, description="density of that water: 1000 fresh, 1025 to 1030 sea")
    suit_mm: float | None = Field(default=None, ge=0, le=30, description="neoprene, layers added up, millimetres")
    cylinder_l: float = Field(ge=1, le=40, description="cylinder, litres of water")
    fill_bar: float = Field(ge=1, le=350, description="its fill, bar on the gauge")
    height_m: float = Field(ge=0.8, le=2.3, description="the diver's height, metres")
    body_kg: float = Field(ge=15, le=250, description="the diver's own mass, kilograms")


class Person(Record):
    """One person of the roster. A date that is left out is not known, and the plan says so."""

    name: OneLine = Field(min_length=1, max_length=60, description="the person's name, once in the roster")
    identity: OneLine = Field(default="", max_length=40, description="the centre's own number of the person, once")
    born: date = Field(description="birth date, like 2009-04-23")
    level: Level = Field(description="level by ISO 24801 or 24802")
    card: str = Field(default="", description="the centre's own name of the certificate, where it gave the level")
    logged_dives: int = Field(default=0, ge=0, le=50_000, description="dives logged")
    last_dive: date | None = Field(default=None, description="date of the last dive; leave out if unknown")
    medical: date | None = Field(default=None, description="date of the medical declaration; leave out if none")
    medical_clear: bool = Field(
        default=False, description="true where the declaration needs no doctor, or one cleared it"
    )
    medical_doctor: date | None = Field(default=None, description="day on which a doctor cleared the person")
    guardian_consent: bool = Field(default=False, description="true where a guardian signed, for a minor")
    guardian: OneLine = Field(default="", max_length=60, description="who signed for a minor")
    next_of_kin: OneLine = Field(default="", max_length=60, description="whom to tell if something happens")
    next_of_kin_phone: PhoneNumber | None = Field(default=None, description="the number of the next of kin, as dialled")
    oxygen_provider_until: date | None = Field(default=None, description="oxygen first-aid qualification expires")
    first_aid_until: date | None = Field(default=None, description="first-aid qualification expires")
    gas_rate_l_min: float | None = Field(
        default=None, ge=5, le=60, description="usual consumption at the surface, litres a minute; leave out if unknown"
    )
    weighting: Weighting | None = Field(default=None, description="lead known to be right; leave out if unknown")
    insurance_until: date | None = Field(default=None, description="staff: liability insurance expires")
    nitrox: bool = Field(default=False, description="whether qualified for nitrox")
    endorsements: tuple[OneLine, ...] = Field(default=(), description='other endorsements, like "dry suit"')
    sizes: dict[KitName, OneLine] = Field(
        default_factory=dict, description='sizes of kit, like { suit = "M", fins = "42" }'
    )
    language: str = Field(default="", description="language of the briefing, where not the centre's")
    speaks: tuple[OneLine, ...] = Field(
        default=(), description='other languages spoken, like "Japanese"; "centre" is the centre\'s own'
    )
    notes: str = ""

    @property
    def languages(self) -> frozenset[str]:
        """What the person speaks, as compared: the language of the briefing and every other one."""
        return frozenset(as_compared(each) for each in (self.language or CENTRE_LANGUAGE, *self.speaks))

    def age_on(self, day: date) -> int:
        """Return the age in whole years on a day; a birthday on 29 February counts from 1 March in common years."""
        return day.year - self.born.year - ((day.month, day.day) < (self.born.month, self.born.day))
