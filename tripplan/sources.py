"""One entry for each source that a number or a rule names; code and the rule book cite it by its key."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Source:
    """Where a number comes from and how well we know it."""

    key: str
    title: str
    provenance: str  # "verified", "common practice", "from memory", "computed"
    note: str = ""


def _s(key: str, title: str, provenance: str, note: str = "") -> Source:
    return Source(key, title, provenance, note)


_ALL = (
    _s(
        "NAVY_7",
        "US Navy Diving Manual, Revision 7 (2016), tables 9-4 to 9-8 and 2A-1, 2A-2",
        "verified",
        "read in a public transcription, not against a page image of the manual; table 9-4 is computed by the "
        "manual's formula, the older printed edition taken where it is deeper",
    ),
    _s(
        "NAVY_RULES",
        "Rules around the US Navy air tables",
        "verified",
        "mostly from Revision 4 Change A; a few from memory, each taken in the cautious reading",
    ),
    _s("ISO_2533", "ISO 2533:1975 Standard Atmosphere", "verified", "computed from the published constants"),
    _s(
        "ZH_L16C",
        "Published ZH-L16C nitrogen coefficients",
        "from memory",
        "the changed C values of a are from memory; b of compartment 4 in the cautious reading",
    ),
    _s(
        "ISO_24801_1",
        "ISO 24801-1: recreational divers, level 1 (supervised diver)",
        "verified",
        "parameters read in a secondary summary",
    ),
    _s(
        "ISO_24801_2",
        "ISO 24801-2: recreational divers, level 2 (autonomous diver)",
        "verified",
        "parameters read in a secondary summary",
    ),
    _s("ISO_24801_3", "ISO 24801-3: recreational divers, level 3 (dive leader)", "from memory"),
    _s("ISO_24802", "ISO 24802-1 and -2: instructors, levels 1 and 2", "from memory"),
    _s("ISO_24803", "ISO 24803: recreational diving providers", "verified", "extract and contents list only"),
    _s("FR_CHILD", "French national federation rule for young divers", "verified", "secondary sources"),
    _s("FR_SPORTS_CODE", "French Sports Code, articles A322-72 to A322-80", "verified"),
    _s("EU_2003_88", "Directive 2003/88/EC on working time, articles 3 and 5", "verified", "read in a summary of it"),
    _s("AU_WHS", "Australian model WHS Regulations, part 4.8", "verified"),
    _s("QLD_GUIDE", "Workplace Health and Safety Queensland guidance on introductory divers", "verified"),
    _s("TH_2025", "Thai notice of April 2025 on group sizes", "verified", "trade press"),
    _s("HSA_IE", "HSA Ireland, diving at work: emergency plans and equipment", "verified"),
    _s("OSHA_T", "29 CFR 1910 Subpart T and its appendix C", "verified", "partly read as a summary"),
    _s("HSE_ACOP", "HSE diving codes of practice, 2014", "verified", "secondary note on the oxygen limit"),
    _s("MV_GUIDE", "Maldives diving guidelines", "verified", "secondary reproduction"),
    _s("UK_8", "Diving at Work Regulations 1997, regulation 8", "verified"),
    _s("NI_6", "Diving at Work Regulations (Northern Ireland) 2005, regulation 6", "verified"),
    _s("NWS_30_30", "30-30 lightning rule", "verified"),
    _s("EN_13319", "EN 13319 depth gauges: 1 bar reads 10 m", "verified", "summary by a test house"),
    _s(
        "SCHUREMAN",
        "P. Schureman, US Coast and Geodetic Survey Special Publication 98",
        "verified",
        "checked against the tidal authority's own predictions",
    ),
    _s(
        "ASTRONOMY",
        "Solar position for the place and date, by the astral library",
        "computed",
        "checked against tables of the US Naval Observatory",
    ),
    _s("GEODESIC", "Distance along the WGS 84 ellipsoid, by the geopy library", "computed"),
    _s("SITE_FILE", "The site file, as surveyed by the centre", "the centre's own"),
    _s("STATION_FILE", "The tide station file", "the centre's own"),
    _s("REQUEST", "What the leader asked for", "the leader's own"),
    _s("ROSTER", "The centre's list of people", "the centre's own"),
    _s("CENTRE", "The centre's own rule", "the centre's own"),
    _s("COMMON_PRACTICE", "Common practice of the trade", "common practice"),
    _s(
        "LEE_KESLER",
        "B. I. Lee and M. G. Kesler, AIChE Journal 21 (1975), 510: equation of state",
        "verified",
        "constants read in independent transcriptions; critical points of nitrogen (Span and others, 2000) and oxygen "
        "(Schmidt and Wagner, 1985); checked against a reference equation of state for mixtures",
    ),
    _s(
        "FLYING_2002",
        "Flying after recreational diving: workshop consensus of May 2002",
        "verified",
        "12 h on the organiser's results page, 18 h in two secondary quotations; no number after dives with stops",
    ),
    _s(
        "FAA_AIM",
        "US Federal Aviation Administration, Aeronautical Information Manual, 8-1-2",
        "verified",
        "secondary summaries",
    ),
    _s(
        "NOAA_OXYGEN",
        "NOAA Diving Manual, limits for normal oxygen exposures",
        "from memory",
        "8 of the 22 values verified in secondary copies; the table says which",
    ),
    _s(
        "GAS_DENSITY",
        "G. Anthony and S. Mitchell, Respiratory physiology of rebreather diving (2016): density of breathed gas",
        "from memory",
    ),
    _s("TEXTBOOK_DRIFT", "Wind-driven surface current, textbook rule of 2 to 3 per cent of the wind", "from memory"),
    _s("FORECAST", "The weather and wave forecast named on the plan", "as issued", "a grid does not see a cove"),
    _s("SEEN", "What somebody saw on the spot", "the leader's own"),
    _s("PHYSICS", "Physics of gases and liquids", "computed"),
    _s("LINEAR_WAVES", "Linear (Airy) theory of water waves", "computed", "checked against independent root finding"),
    _s(
        "CEM_II_2",
        "US Army Corps of Engineers, Coastal Engineering Manual EM 1110-2-1100, part II, chapter 2: II-2-36 to II-2-38",
        "verified",
        "II-2-37 and II-2-38 read in a public copy; II-2-36 in secondary copies, of which one has 0.751 for the "
        "0.651 of the period",
    ),
    _s(
        "WAVE_TEXTBOOK",
        "Growth of a wind sea in the wind at 10 m: coastal textbook, equations 5.3 to 5.8",
        "verified",
        "read in a public solution sheet",
    ),
    _s("SPM_1984", "US Army Corps of Engineers, Shore Protection Manual (1984): duration for a fetch", "from memory"),
    _s(
        "DONELAN_1980",
        "M. A. Donelan (1980): along a fetch blows the component of the wind",
        "from memory",
    ),
    _s("RAYLEIGH_WAVES", "Rayleigh distribution of wave heights (M. S. Longuet-Higgins, 1952)", "from memory"),
    _s(
        "KOMAR_GAUGHAN_1972",
        "P. D. Komar and M. K. Gaughan, Airy wave theory and breaker height prediction (1972)",
        "verified",
        "the formula read in public programs that cite it",
    ),
    _s("SOLITARY_LIMIT", "Limit of the solitary wave: a breaker is 0.78 of the depth it breaks in", "from memory"),
    _s(
        "BATTJES_1974",
        "J. A. Battjes, Surf similarity, 14th Coastal Engineering Conference (1974)",
        "verified",
        "limits 0.5 and 3.3 for the height in deep water, read in secondary summaries",
    ),
    _s(
        "BEAUFORT",
        "Beaufort wind scale of the World Meteorological Organization, as printed by the Met Office",
        "verified",
        "read in secondary copies",
    ),
    _s(
        "NOAA_EMERGENCY",
        "NOAA Diving Program, Diving Emergency Management Plan",
        "verified",
        "the template's fields and steps; figures on flights from memory",
    ),
    _s("QLD_CODE", "Queensland code of practice for recreational diving, 2018", "verified", "comparative table"),
    _s(
        "DIVER_SAFETY_PLAN",
        "Public guidance on emergency assistance plans for divers",
        "verified",
        "union of the published checklists read; steps in our own words",
    ),
    _s("USN_EMERGENCY", "US Navy Diving Manual, chapters 6, 7 and 9: emergency checklists", "verified", "summary"),
    _s(
        "OXYGEN_FIRST_AID",
        "Oxygen first aid for divers: flows of masks and arithmetic of cylinders, public handbooks and cards",
        "verified",
        "demand valve and bag mask from memory",
    ),
    _s(
        "RADIO_ITU",
        "ITU Radio Regulations, distress and urgency procedure, and Appendix 14 (spelling and figure code)",
        "verified",
        "order of call and message read in radio handbooks; code words of figures from memory",
    ),
    _s("SMCP", "IMO Standard Marine Communication Phrases", "verified", "read in teaching slides and phrase sheets"),
    _s(
        "SAR_DRIFT",
        "Search and rescue drift practice: datum by stream and leeway, total probable error, search factor",
        "verified",
        "angles, fix error and factors read in a public transcription of the Australian National Search and Rescue "
        "Manual 2023, table 3-2, D-5 and D-6 (leeway after Allen and Plourde 1999); spreads in the leeway coefficient "
        "file of the OpenDrift model (list of 2010); E as the root of the sum of squares, 0.3 kn and worked example Q "
        "of the IAMSAR Manual volume II in public notes on it, not in the manuals themselves",
    ),
    _s(
        "PHONE_NUMBERS",
        "Numbering plans and emergency short numbers, by the phonenumbers library",
        "computed",
        "numbers reserved for fiction count as not in use",
    ),
    _s("CONFIRMED", "What somebody found on the morning of the dive", "the centre's own"),
    _s("EMERGENCY_FILE", "The centre's emergency file: oxygen, kits, drills", "the centre's own"),
    _s("KIT_FILE", "The centre's kit file: what the store holds, tested and serviced when", "the centre's own"),
    _s(
        "NAVY_CYLINDERS",
        "US Navy Diving Manual, 7-2.2.2.2: inspection and test of open-circuit cylinders",
        "verified",
        "read in a public transcription of Revision 4, Change A",
    ),
    _s(
        "ES_550",
        "Spanish royal decree 550/2020, article 18.1 and annex III: least kit of a diver",
        "verified",
        "read in a secondary quotation",
    ),
    _s("NOAA_SHORE", "NOAA Diving Manual, section 13.1: diving from the shore", "verified", "older edition"),
)

SOURCES: dict[str, Source] = {source.key: source for source in _ALL}


def source(key: str) -> Source:
    """Return the source with a key; raises KeyError for a key that nobody wrote down."""
    return SOURCES[key]
