"""Rules of the ordinance check and of a profile of local minimums. No legal advice: read the local
code."""

from __future__ import annotations

from typing import Literal

from pydantic import model_validator

from geoturf.rules.base import ArealMass, Fraction, Length, LengthRate, Number, Rules, rule


class Ordinance(Rules):
    """Maximum applied water allowance (MAWA) against estimated total water use (ETWU), site by
    site.

    In a bid also by name alone: ordinance = "none"."""

    law: Literal["", "california", "regional", "formula", "none"] = rule(
        "",
        "whose ordinance holds: california (a verdict for each site); regional (a verdict by "
        "another place's allowance, of the same form, with the name, source and etaf that the "
        "bid states); formula (worked as California's formula would, no verdict); none; if "
        "empty, california where all ground lies well within that state, else none",
        source="23 CCR 490-495",
    )

    name: str = rule("", "regional: the place it holds for, as printed", source="")
    source: str = rule("", "regional: section of the code and day it was read", source="")
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
        "ET adjustment factors of a local ordinance, over the published ones: non_residential = 0.42",
        source="",
    )
    effective_rain_share: Fraction = rule(
        "0 %",
        "share of the year's rain taken off ETo in the allowance",
        high="25 %",
        source="23 CCR 492.4",
    )
    constant: Literal["exact", "ordinance"] = rule(
        "ordinance",
        "gallons per square foot and inch: exact 144/231 or the ordinance's 0.62",
        source="23 CCR 492.4",
    )

    @model_validator(mode="after")
    def _share(self) -> Ordinance:
        if self.effective_rain_share > 0.25:
            raise ValueError("effective_rain_share is at most 25 %")
        for name, factor in self.etaf.items():
            if not 0 < factor <= 1:
                raise ValueError(f"etaf '{name}': a factor over 0 and at most 1, not {factor:g}")
        if self.law == "regional":
            self._refuse_unfilled()
        return self

    def _refuse_unfilled(self) -> None:
        """A regional allowance is the bid's: no verdict without the place and its own factors."""
        missing = [word for word in ("name", "source") if not getattr(self, word).strip()]
        kinds = (self.landscape, *(["residential"] if self.residential_uses else []))
        missing += [f"etaf.{kind}" for kind in dict.fromkeys(kinds) if kind not in self.etaf]
        if missing:
            raise ValueError(f'law "regional" needs {", ".join(missing)} of the place it holds for')


def by_name(value: object) -> object:
    """An ordinance given by its name alone as its table."""
    return {"law": value} if isinstance(value, str) else value


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
