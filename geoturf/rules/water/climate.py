"""Rules of the climate: where twelve months of reference evapotranspiration and rain come from."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import BeforeValidator, model_validator

from geoturf import units
from geoturf.rules.base import Fraction, Length, Rules, rule

MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


def _months(dimension: str) -> BeforeValidator:
    def read(value: object) -> tuple[float, ...]:
        values = list(value) if isinstance(value, (list, tuple)) else [value] * 12
        if not values:
            return ()
        if len(values) != 12:
            needed = "twelve months are needed, January to December"
            raise ValueError(f"{len(values)} values where {needed}")
        return tuple(_month(name, v, dimension) for name, v in zip(MONTHS, values, strict=True))

    return BeforeValidator(read)


def _month(name: str, value: object, dimension: str) -> float:
    if str(value).strip().startswith("-"):
        raise ValueError(f"{name}: {value} is negative")
    try:
        return units.read(value, dimension)  # type: ignore[arg-type]  # it refuses what is none
    except units.UnitError as error:
        raise ValueError(f"{name}: {error}") from None


MonthlyLength = Annotated[tuple[float, ...], _months("length")]
MonthlyNumber = Annotated[tuple[float, ...], _months("number")]

EffectiveRain = Literal["none", "fixed", "scs", "fao", "tr21"]


class Climate(Rules):
    """One source of ETo: ``eto`` here, a ``table``, ``weather`` data, or a published ``place``."""

    station: str = rule("", "name of the station, as printed", source="")
    source: str = rule("", "where its numbers come from, as printed", source="")
    eto_m: MonthlyLength = rule((), 'ETo of the twelve months, such as ["1.1 in", ...]', source="")
    rain_m: MonthlyLength = rule((), "rain of the twelve months; none if left out", source="")
    table: str = rule(
        "",
        "CSV beside the bid file with columns month, eto_in or eto_mm, and rain_in or rain_mm if "
        "known",
        source="",
    )
    weather: str = rule(
        "",
        "CSV of daily weather beside the bid file, for the FAO-56 equation: date, tmax_c, "
        "tmin_c, wind_m_s, rhmax_pct and rhmin_pct (or rh_pct), solar_mj_m2 or sunshine_h, "
        "rain_mm; needs the weather extra",
        source="",
    )
    latitude: float | None = rule(
        None,
        "latitude of the weather station in degrees, south negative",
        source="",
    )
    elevation_m: Length = rule("0 m", "elevation of the weather station", source="")
    wind_height_m: Length = rule(
        "2 m",
        "height at which the weather data's wind was measured",
        source="FAO-56 eq. 47",
    )
    place: str = rule(
        "",
        'a place in the published ETo table that geoturf ships; "nearest": of them, for each site '
        "that which lies nearest, how far away is told",
        source="",
    )
    nearest_within_m: Length = rule(
        "30 mi",
        "a place further away than this is no station of a site's",
        low="5 mi",
        high="60 mi",
        source="common practice: hills and the sea change evapotranspiration sooner",
    )
    effective_rain: EffectiveRain = rule(
        "tr21",
        "how much rain counts: none; fixed (a share); scs (the Soil Conservation Service's "
        "monthly formula); fao (dependable rain); tr21 (SCS Technical Release 21, by "
        "evapotranspiration and soil store)",
        source="USDA NEH 623 ch. 2; near daily soil-water balances on well-drained soil: "
        "Effective rainfall estimation methods, ASCE 1990; scs and fao: FAO CROPWAT",
    )
    effective_share: Fraction = rule(
        "25 %",
        "share of rain that counts, for fixed",
        low="0 %",
        high="75 %",
        source="23 CCR 492.4",
    )
    soil_store_m: Length = rule(
        "3 in",
        "usable soil water, for tr21",
        low="1 in",
        high="6 in",
        source="NEH 623 ch. 2",
    )

    @model_validator(mode="after")
    def _one_source(self) -> Climate:
        given = [key for key in ("eto_m", "table", "weather", "place") if getattr(self, key)]
        if len(given) > 1:
            names = " and ".join(key.removesuffix("_m") for key in given)
            keep = "keep one of eto, table, weather, place"
            raise ValueError(f"{names} both give the climate; {keep}")
        if self.rain_m and not (self.eto_m or self.place):
            raise ValueError("rain goes with eto or place; a table or weather data bring their own")
        if self.weather and self.latitude is None:
            raise ValueError("weather needs the station's latitude")
        if self.latitude is not None and abs(self.latitude) > 66:
            raise ValueError("latitude is -66 to 66 degrees (the sun must rise every day)")
        if self.effective_share > 1:
            raise ValueError("effective_share is a share, at most 100 %")
        return self
