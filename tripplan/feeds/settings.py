"""Which services a centre asks for forecasts, read from its feeds.toml. All are off until the centre says otherwise."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import AfterValidator, Field

from tripplan.record import Misfit, Record, judge, read_toml

SHORTEST_WAIT_S = 0.5
LONGEST_WAIT_S = 10.0
FILE_NAME = "feeds.toml"

ServiceName = Literal["open_meteo", "met_norway", "national_weather_service"]


def _host(value: str) -> str:
    """Accept the first part of a web address: scheme and host, and a port or a folder where there is one."""
    if not re.fullmatch(r"https?://[A-Za-z0-9.-]+(:[0-9]{1,5})?(/[A-Za-z0-9._~-]+)*/?", value):
        raise ValueError("a host is written like https://api.example.org, without question mark or user name")
    return value.rstrip("/")


def _contact(value: str) -> str:
    if value and not re.fullmatch(r"[\x21-\x7e]+@[\x21-\x7e]+\.[\x21-\x7e]+|https?://[\x21-\x7e]+", value):
        raise ValueError("a contact is an e-mail address or a web address at which the centre can be reached")
    return value


def _model(value: str) -> str:
    if not re.fullmatch(r"[a-z0-9_]*", value):
        raise ValueError("a model is named in small letters, figures and underscores, as the service lists it")
    return value


Host = Annotated[str, AfterValidator(_host)]


class OpenMeteoSettings(Record):
    """Open-Meteo: weather, sea and, where a model is named, an ensemble."""

    use: bool = Field(default=False, description="true to ask this service")
    host: Host = Field(default="https://api.open-meteo.com", description="weather")
    marine_host: Host = Field(default="https://marine-api.open-meteo.com", description="waves and water temperature")
    ensemble_host: Host = Field(default="https://ensemble-api.open-meteo.com", description="members of an ensemble")
    ensemble_model: Annotated[str, AfterValidator(_model)] = Field(
        default="", description="the ensemble's name at the service; empty: none is asked"
    )
    api_key: str = Field(default="", repr=False, description="the key of a paid subscription")
    non_commercial: bool = Field(
        default=False, description="true only for a centre that earns no money: the free service is for such use only"
    )

    @classmethod
    def misfits(cls, parts: Mapping[str, Any]) -> Iterator[Misfit]:
        """Yield a key that cannot be one, without showing it, and a use that the licence does not allow."""
        if not re.fullmatch(r"[\x21-\x7e]*", parts.get("api_key", "")):
            yield ("api_key",), "holds a blank or a character that no key has; copy it again"
        if parts.get("use") and parts.get("api_key") == "" and parts.get("non_commercial") is False:
            yield (
                ("use",),
                "is true, but the free service is for non-commercial use only; give the api_key of a subscription "
                "(and its hosts), or say non_commercial = true if the centre earns no money",
            )


class MetNorwaySettings(Record):
    """The Norwegian Meteorological Institute: weather worldwide, sea in north-west Europe."""

    use: bool = Field(default=False, description="true to ask this service")
    host: Host = Field(default="https://api.met.no", description="the service's address")


class NationalWeatherServiceSettings(Record):
    """The US National Weather Service: weather and waves in and around the United States."""

    use: bool = Field(default=False, description="true to ask this service")
    host: Host = Field(default="https://api.weather.gov", description="the service's address")


class CoOpsSettings(Record):
    """NOAA CO-OPS, the United States' tidal authority: high and low waters."""

    use: bool = Field(default=False, description="true to ask this service")
    host: Host = Field(default="https://api.tidesandcurrents.noaa.gov", description="the service's address")


class FeedSettings(Record):
    """What a centre says about its feeds."""

    contact: Annotated[str, AfterValidator(_contact)] = Field(
        default="", description="e-mail or web address, told to each service so that it can reach the centre"
    )
    wait_s: float = Field(
        default=4.0, ge=SHORTEST_WAIT_S, le=LONGEST_WAIT_S, description="seconds a plan waits for all feeds together"
    )
    keep_fresh_min: float = Field(
        default=60.0, ge=10, le=720, description="minutes during which an answer is used without asking again"
    )
    keep_stale_h: float = Field(
        default=72.0, ge=1, le=168, description="hours after that during which it stands in when no new one can be had"
    )
    prefer: tuple[ServiceName, ...] = Field(
        default=("open_meteo", "met_norway", "national_weather_service"),
        description="whose value counts first where several know one",
    )
    open_meteo: OpenMeteoSettings = Field(default=OpenMeteoSettings())
    met_norway: MetNorwaySettings = Field(default=MetNorwaySettings())
    national_weather_service: NationalWeatherServiceSettings = Field(default=NationalWeatherServiceSettings())
    co_ops: CoOpsSettings = Field(default=CoOpsSettings())

    @classmethod
    def misfits(cls, parts: Mapping[str, Any]) -> Iterator[Misfit]:
        """Yield a service asked without a contact, and a preference named twice."""
        names = ("open_meteo", "met_norway", "national_weather_service", "co_ops")
        asked = [name for name in names if getattr(parts.get(name), "use", False)]
        if asked and parts.get("contact") == "":
            yield (
                ("contact",),
                f"is missing, but {asked[0]} is asked; give an e-mail or web address at which the service can reach "
                "the centre: services throttle or block programs that name none",
            )
        prefer = parts.get("prefer")
        if prefer is not None and len(set(prefer)) < len(prefer):
            yield ("prefer",), "names a service twice; name each once"

    @property
    def any_forecast(self) -> bool:
        """Whether any service is asked for a forecast."""
        return self.open_meteo.use or self.met_norway.use or self.national_weather_service.use

    @property
    def order(self) -> tuple[ServiceName, ...]:
        """The services that are asked, in order of preference; those not named in ``prefer`` come last."""
        every: tuple[ServiceName, ...] = ("open_meteo", "met_norway", "national_weather_service")
        return tuple(name for name in dict.fromkeys((*self.prefer, *every)) if getattr(self, name).use)


def read_feed_settings(folder: Path) -> FeedSettings:
    """Return the settings of a centre's folder, from centre/feeds.toml; all off where there is no such file.

    Raises BadRecord with file and line of every fault.
    """
    path = folder / "centre" / FILE_NAME
    return judge(read_toml(path), FeedSettings) if path.is_file() else FeedSettings()
