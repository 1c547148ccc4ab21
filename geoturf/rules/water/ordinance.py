"""Rules of the ordinance check and of a profile of local minimums. No legal advice: read the local
code."""

from __future__ import annotations

import tomllib
from functools import cache
from importlib.resources import files
from typing import Annotated, Literal

from pydantic import Field, model_validator

from geoturf.rules.base import ArealMass, Fraction, Length, LengthRate, Number, Rules, rule
from geoturf.rules.water.names import key

REGIONAL, FORMULA, NONE = "regional", "formula", "none"  # laws that are no shipped record
FORM = "california"  # the record whose numbers stand for what others do not state

Longitude = Annotated[float, Field(ge=-180, le=180)]
Latitude = Annotated[float, Field(ge=-90, le=90)]


class Border(Rules):
    """Where an ordinance holds: well within a polygon."""

    corners: tuple[tuple[Longitude, Latitude], ...] = rule(
        ..., "longitude and latitude of the border's corners in turn, degrees", source=""
    )
    margin: Annotated[float, Field(ge=0, le=5)] = rule(
        0.15, "ground nearer the border than this, in degrees, does not count as within", source=""
    )

    @model_validator(mode="after")
    def _encloses(self) -> Border:
        if len(set(self.corners)) < 3:
            raise ValueError("corners: a border needs three or more")
        return self


class Ordinance(Rules):
    """Maximum applied water allowance (MAWA) against estimated total water use (ETWU), site by
    site.

    In a bid also by name alone: ordinance = "none"."""

    law: str = rule(
        "",
        "whose ordinance holds: california (a verdict for each site); regional (a verdict by "
        "another place's allowance, of the same form, with the name, source and etaf that the "
        "bid or its file states); formula (worked as California's formula would, no verdict); "
        "none; if empty, a shipped one where ground lies well within its border, else none",
        source="23 CCR 490-495",
    )
    file: str = rule(
        "",
        "regional: a TOML file beside the bid with these keys, complete in itself; what the bid's "
        'own table states goes first. Also ordinance = "valley.toml"',
        source="",
    )
    name: str = rule("", "regional: the place it holds for, as printed", source="")
    source: str = rule("", "regional: section of the code and day it was read", source="")
    year: int | None = rule(None, "regional: year of the ordinance", source="")
    border: Border | None = rule(
        None, "regional: where it holds; sites elsewhere get no verdict", source=""
    )
    landscape: str = rule(
        "non_residential",
        "kind of landscape, which sets the ET adjustment factor (ETAF)",
        source="23 CCR 492.4",
    )
    residential_uses: tuple[str, ...] = rule(
        ("home", "homes", "residential"),
        "values of the use column whose sites count as residential",
        source="",
    )
    special_uses: tuple[str, ...] = rule(
        ("sport", "sports", "recreation", "play", "edible", "cemetery"),
        "values of the use column that count as special landscape area (SLA, ETAF 1)",
        source="23 CCR 491",
    )
    etaf: dict[str, Number] = rule(
        {},
        "ET adjustment factors of a local ordinance, over the published ones: non_residential = "
        "0.42",
        source="",
    )
    special_etaf: Number | None = rule(
        None, "the same of special landscape area; if empty, the shipped one's, 1", source=""
    )
    effective_rain_share: Fraction = rule(
        "0 %",
        "share of the year's rain taken off ETo in the allowance",
        high="25 %",
        source="23 CCR 492.4",
    )
    constant: Literal["exact", "ordinance"] = rule(
        "ordinance",
        "gallons per square foot and inch: exact 144/231 or those that the ordinance prints",
        source="23 CCR 492.4",
    )
    gallons: Number | None = rule(
        None,
        "gallons per square foot and inch that the ordinance prints; if empty, the shipped one's, "
        "0.62",
        source="23 CCR 492.4",
    )

    @model_validator(mode="after")
    def _fits(self) -> Ordinance:
        if self.effective_rain_share > 0.25:
            raise ValueError("effective_rain_share is at most 25 %")
        factors = {f"etaf '{name}'": factor for name, factor in self.etaf.items()}
        for name, factor in (factors | {"special_etaf": self.special_etaf}).items():
            if factor is not None and not 0 < factor <= 1:
                raise ValueError(f"{name}: a factor over 0 and at most 1, not {factor:g}")
        if self.gallons is not None and not 0.6 <= self.gallons <= 0.65:
            raise ValueError(
                f"gallons: 144/231 as it is rounded, 0.6 to 0.65, not {self.gallons:g}"
            )
        if self.file and self.law != REGIONAL:
            raise ValueError(f'file goes with law "{REGIONAL}", not "{self.law}"')
        if self.law == REGIONAL:
            self._refuse_unfilled()
        elif self.law not in ("", FORMULA, NONE, *laws()):
            known = ", ".join((*laws(), REGIONAL, FORMULA, NONE))
            unknown = f"law: '{self.law}' is not known; known: {known}"
            raise ValueError(
                f'{unknown}; or a file beside the bid, as in ordinance = "valley.toml"'
            )
        elif self.border is not None:
            raise ValueError(f'border goes with law "{REGIONAL}" only')
        return self

    def _refuse_unfilled(self) -> None:
        """A regional allowance is the bid's: no verdict without the place and its own factors."""
        missing = [word for word in ("name", "source") if not getattr(self, word).strip()]
        kinds = (self.landscape, *(["residential"] if self.residential_uses else []))
        stated = {key(kind) for kind in self.etaf}
        missing += [f"etaf.{kind}" for kind in dict.fromkeys(kinds) if key(kind) not in stated]
        if missing:
            raise ValueError(f'law "regional" needs {", ".join(missing)} of the place it holds for')


@cache
def laws() -> tuple[str, ...]:
    """Names of the shipped records, ``geoturf/data/ordinances/NAME.toml``."""
    folder = files("geoturf").joinpath("data", "ordinances")
    return tuple(sorted(one.name.removesuffix(".toml") for one in folder.iterdir()))


@cache
def shipped(law: str) -> Ordinance:
    """A shipped record, complete as a regional one of a bid has to be."""
    record = files("geoturf").joinpath("data", "ordinances", f"{law}.toml")
    stated = tomllib.loads(record.read_text(encoding="utf-8"))
    return Ordinance.model_validate({"law": REGIONAL, **stated})


def filled(said: Ordinance) -> Ordinance:
    """An ordinance with every number in it: what it does not state is its law's record's. Of a
    regional one only ``special_etaf`` and ``gallons`` may be left out: its factors are its own."""
    record = shipped(said.law if said.law in laws() else FORM)
    etaf = {key(kind): factor for kind, factor in said.etaf.items()}
    if said.law != REGIONAL:
        etaf = record.etaf | etaf
    numbers = {
        name: getattr(record if getattr(said, name) is None else said, name)
        for name in ("special_etaf", "gallons")
    }
    return said.model_copy(update={"etaf": etaf, **numbers})


def by_name(value: object) -> object:
    """An ordinance given by its name alone as its table."""
    if isinstance(value, str):
        return {"law": value}
    return value


def by_file(value: object) -> str:
    """The file that an ordinance of a bid, as TOML gives it, names; "" for none."""
    if isinstance(value, str):
        if value.lower().endswith(".toml"):
            return value
        return ""
    named = ""
    if isinstance(value, dict):
        named = value.get("file", "")
    if isinstance(named, str):
        return named
    return ""


class Profile(Rules):
    """Local minimums for synthetic turf. What is left out is not checked; what cannot be known is
    told as not known."""

    name: str = rule("local profile", "whose minimums these are", source="")
    source: str = rule("", "the code's section and the day it was read, as printed", source="")
    min_pile_height_m: Length | None = rule(None, "pile at least this high", source="")
    max_pile_height_m: Length | None = rule(None, "pile at most this high", source="")
    min_pile_weight_kg_per_m2: ArealMass | None = rule(
        None,
        "pile (face) weight at least this",
        source="",
    )
    min_drainage_m_per_h: LengthRate | None = rule(
        None,
        "backing drains at least this much",
        source="",
    )
    drainage_m_per_h: dict[str, LengthRate] = rule(
        {}, 'stated drainage by product, such as turf60 = "40 in/h"', source=""
    )
    min_tree_distance_m: Length | None = rule(None, "turf keeps this far from trees", source="")
    trees: str = rule("trees", "name of the context layer that holds the trees", source="")
    max_coverage: Fraction | None = rule(
        None,
        "turf takes at most this share of a site's areas",
        source="",
    )
    max_slope: Fraction | None = rule(None, "turf on ground no steeper than this", source="")
