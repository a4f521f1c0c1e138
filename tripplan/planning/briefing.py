"""What the leader looks at on arrival and says before the dive: numbers from the site and the rule book."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from tripplan.catalogue.site import Site
from tripplan.people.group import KINDS, Kind
from tripplan.planning.plan import DivePlan, Observation
from tripplan.planning.weather import underwater_visibility_limit_m
from tripplan.planning.window import stream_limit_kn
from tripplan.rulebook import RuleBook


def observations(site: Site, kinds: Sequence[Kind], rules: RuleBook) -> tuple[Observation, ...]:
    """Return what to look at on arrival, each with the number at which nobody goes in; the strictest kind counts."""
    return (
        *_waves(site, kinds, rules),
        *_wind(site, kinds, rules),
        *_stream(site, kinds, rules),
        *_sight(site, kinds, rules),
        *_weather_before(site, rules),
        _level(site),
        Observation("Telephone signal", "stop where no call goes out", site.communications.phone_signal, "OSHA_T"),
        Observation("Oxygen and first-aid kit", "stop without", "open it, read the gauge, note the bar", "HSA_IE"),
    )


def _suffix(kinds: Sequence[Kind]) -> str:
    """Return how the rules are named that count where somebody is in training."""
    return "_training" if any(kind.training for kind in kinds) else ""


def _who(kinds: Sequence[Kind]) -> str:
    return "with a course or first experience" if _suffix(kinds) else "for certified divers"


def _waves(site: Site, kinds: Sequence[Kind], rules: RuleBook) -> Iterator[Observation]:
    if site.water.kind == "fresh" and not site.exposure.fetch:
        return
    rule, own_m = rules[f"observe.breaker{_suffix(kinds)}_m"], site.limits.breaker_m
    strictest = (rule.value, rule.key) if own_m is None or own_m > rule.value else (own_m, "SITE_FILE")
    yield Observation(
        "Breaking waves at the way in and out",
        f"stop above {strictest[0]:g} m ({_who(kinds)})",
        f"watch {rules.value('observe.wave_watch_min'):g} min; the largest wave counts; surf dumping on a steep beach "
        "is a stop",
        strictest[1],
    )


def _wind(site: Site, kinds: Sequence[Kind], rules: RuleBook) -> Iterator[Observation]:
    for sector in site.limits.wind:
        yield Observation(
            f"Wind from {sector.from_deg:03.0f} to {sector.to_deg:03.0f} degrees",
            f"stop above {sector.most_kn:g} kn",
            "at the water's edge, gusts included",
            "SITE_FILE",
        )
    rule = rules[f"observe.wind_onshore{_suffix(kinds)}_beaufort"]
    words = f"stop above force {rule.value:g}"
    yield Observation("Wind onto the shore", words, "Beaufort, at the water's edge", rule.key)
    rule = rules["observe.wind_offshore_kn"]
    words = f"stop above {rule.value:g} kn"
    yield Observation("Wind off the shore", words, "flat water misleads: it carries people out", rule.key)


def _stream(site: Site, kinds: Sequence[Kind], rules: RuleBook) -> Iterator[Observation]:
    if site.water.kind == "fresh":
        return
    limits = (stream_limit_kn(site, kind, rules) for kind in kinds)
    limit_kn, source = min(limits, key=lambda pair: pair[0], default=(0.0, ""))
    yield Observation(
        "Stream at the surface",
        f"stop above {limit_kn:g} kn",
        f"something afloat drifts {limit_kn * 1852 / 60:.0f} m in one minute at {limit_kn:g} kn",
        source,
    )


def _sight(site: Site, kinds: Sequence[Kind], rules: RuleBook) -> Iterator[Observation]:
    sights = [(*underwater_visibility_limit_m(site, kind, rules), kind) for kind in kinds]
    if not sights:
        return
    value, source, strictest = max(sights, key=lambda sight: sight[0])
    whom = strictest.words if source == f"observe.visibility_{strictest.name}_m" else _who(kinds)
    yield Observation(
        "Visibility under water",
        f"stop below {value:g} m ({whom})",
        f"fewer divers to a leader when poor: below {rules.value('ratio.low_visibility_m'):g} m",
        source,
    )


def _weather_before(site: Site, rules: RuleBook) -> Iterator[Observation]:
    rule = rules["observe.thunder_wait_min"]
    words = f"out of the water; wait {rule.value:g} min after the last"
    yield Observation("Thunder heard", words, "from any side", rule.key)
    if any(hazard.kind == "outfall" for hazard in site.hazards):
        rule = rules["observe.rain_wait_h"]
        words = f"stop within {rule.value:g} h of it"
        yield Observation("Heavy rain before", words, "outfall or river here", rule.key)


def _level(site: Site) -> Observation:
    if not site.tide.station:
        words = "compare with the usual level"
        return Observation("Water level", words, "steps and ramps may end above it", "SITE_FILE")
    return Observation(
        "Tide on the way in and out",
        "compare with the plan's height; stop where the step is under water or the ledge is dry",
        "weather moves the sea by decimetres",
        "tide.height_margin_m",
    )


def briefing_lines(site: Site, dives: Sequence[DivePlan], rules: RuleBook, *, high: bool) -> tuple[str, ...]:
    """Return what is said to everybody before the dive, in order."""
    lines = [f"{site.name}: {site.summary}" if site.summary else site.name]
    for dive in {dive.group: dive for dive in reversed(dives)}.values():
        lines.append(
            f"{dive.group}: in by {dive.going_in_by}, out by {dive.coming_out_by}, at {dive.place}; "
            f"planned to {dive.depth_m or 0:g} m and no deeper."
        )
    lines.extend(f"{hazard.what}: {hazard.control}" for hazard in site.hazards)
    ascent = rules.value("ascent.rate_m_min")
    lines.extend(
        (
            "Stay with your buddy. Lost: look for one minute, then come up and wait at the surface.",
            f"Come up no faster than {ascent:g} m a minute; "
            f"{rules.value('safety_stop.minutes_min'):g} min at {rules.value('safety_stop.depth_m'):g} m.",
            "Anyone may end a dive at any time, without a reason.",
            f"Flag: {site.flag_rule}",
            "Everyone is counted in and out by two people. Nobody leaves without signing off.",
            "Say at once if anything feels wrong, now or in the next two days. "
            "No flying, no mountain road and no hard work before the leader has said from when.",
        )
    )
    if high:
        lines.append(
            "Altitude: gauges sealed at sea level show less than the real depth. Follow the plan's gauge figure."
        )
    if any(KINDS[dive.kind].training for dive in dives):
        lines.append(
            "Learners: stay where your leader can touch you; practise floating and breathing out on the way up."
        )
    return tuple(lines)
