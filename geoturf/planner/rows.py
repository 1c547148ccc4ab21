"""Rows of `geoturf.model.Water`'s tables as records, so that a column misspelt is found before a
run."""

from __future__ import annotations

from typing import NamedTuple, TypeVar

import pandas as pd

Row = TypeVar("Row", bound=NamedTuple)


class Option(NamedTuple):
    """An area and a conversion on offer to it, of ``Water.table``."""

    site: str
    area: str
    title: str
    saved_m3: float
    capital: float
    rebate: float
    payback_years: float
    npv: float
    rank: int
    why: str


class Month(NamedTuple):
    """Of ``Water.monthly``."""

    name: str
    eto_m: float
    rain_m: float
    baseline_m3: float
    after_m3: float
    saved_m3: float


class Point(NamedTuple):
    """A budget of ``Water.curve``."""

    budget: float
    areas: int
    saved_m3: float
    npv: float
    gap: float


class SiteRow(NamedTuple):
    """A plan and site of ``Water.compliance``."""

    plan: str
    site: str
    landscape: str
    etaf: float
    complies: bool | None
    landscape_m2: float
    special_m2: float
    mawa_m3: float
    etwu_m3: float
    margin_m3: float
    use_m3: float


class Zone(NamedTuple):
    """A hydrozone of ``Water.worksheet``."""

    plan: str
    site: str
    cover: str
    irrigation: str
    hydrozone: int
    special: bool
    plant_factor: float
    efficiency: float
    etaf: float
    area_m2: float
    etaf_area_m2: float
    etwu_m3: float
    use_m3: float


class Scenario(NamedTuple):
    """A case of ``Water.scenarios``; ``areas_changed`` is -1 where no choice fits."""

    case: str
    eto: float
    rain_method: str
    efficiency: float
    price: float
    baseline_m3: float
    saved_m3: float
    npv: float
    areas_changed: int


class Move(NamedTuple):
    """An end of an input, of ``Water.sensitivity``."""

    input: str
    end: str
    factor: float | str
    saved_m3: float
    npv: float
    areas_changed: int
    ground_changed: float


class Minimum(NamedTuple):
    """A site and local minimum, of ``Water.profile``; ``found`` is nan where it is not known."""

    site: str
    check: str
    result: str
    limit: float
    unit: str
    found: float


def records(table: pd.DataFrame, kind: type[Row]) -> list[Row]:
    """Each row of ``table`` as a ``kind``, whose fields are the columns read."""
    columns = [table[name].tolist() for name in kind._fields]
    return [kind._make(values) for values in zip(*columns, strict=True)]
