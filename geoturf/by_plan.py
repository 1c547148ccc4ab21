"""Results by house plan: what its lots take, what each costs, and how they differ."""

from __future__ import annotations

import re
from collections.abc import Iterator

import numpy as np
import pandas as pd

from geoturf import units
from geoturf.model import Result
from geoturf.units import SYSTEMS

OF_NONE = "of no plan"  # lots, where they are named
_NAMED = 4  # lots named that differ; of more their number is told
_SLOPE_PCT = 0.5  # slopes that differ by less are told as one
COLUMNS = (
    "plan", "lots", "areas", "ground_area_m2", "turf_bought_m2", "seam_m", "pieces",
    "price_each", "price", "price_least", "price_most", "differences",
)  # fmt: skip


def by_plan(result: Result) -> pd.DataFrame | None:
    """`COLUMNS`, plans by name, lots of no plan last; turf is what its areas bear of what is
    bought, and every sum adds up to the bid's. None where no lot is of a house plan."""
    land = result.ground.areas
    if "plan" not in land or not land["plan"].ne("").any():
        return None
    chosen = result.plan.chosen
    prices = dict(
        zip(result.price.sites["site"].astype(str), result.price.sites["price"], strict=True)
    )
    plans = sorted((name for name in set(land["plan"]) if name), key=_by_number)
    plans += [""] if land["plan"].eq("").any() else []
    rows = []
    for plan in plans:
        at = np.flatnonzero(land["plan"].eq(plan))
        own = land.iloc[at]
        laid = chosen.iloc[at]
        money = [prices[site] for site in dict.fromkeys(own["site"].astype(str))]
        ground_m2 = own["ground_area_m2"].sum()
        turf_m2 = laid["turf_bought_m2"].sum()
        sums = (len(at), ground_m2, turf_m2, laid["seam_m"].sum(), laid["pieces"].sum())
        total = sum(money[1:], money[0])
        told = (units.cents(total / len(money)), total, min(money), max(money))
        rows.append((plan, len(money), *sums, *told, differences(result, at) if plan else ""))
    return pd.DataFrame(rows, columns=list(COLUMNS))


def _by_number(name: str) -> tuple[object, ...]:
    """To sort names by: numbers in them by what they count, so that plan 2 comes before plan 10."""
    parts = re.split(r"(\d+)", name)
    told = tuple((0, int(part), "") if part.isdecimal() else (1, 0, part) for part in parts if part)
    return told, name


def differences(result: Result, at: np.ndarray) -> str:
    """How lots of a plan, which has the areas ``at``, differ from most of them, in words."""
    land = result.ground.areas.iloc[at]
    lots = land.groupby(land["site"].astype(str), sort=False)
    ways = {
        "turf": lots["product"].agg(lambda some: " + ".join(sorted(set(some)))),
        "lawns": _lawns(result, at),
        "slope": _slopes(land),
        "pieces": _pieces(result, at),
    }
    return "; ".join(said for name, of in ways.items() for said in _said(name, of))


def _lawns(result: Result, at: np.ndarray) -> pd.Series:
    """The lawns of each lot, told by the ground of each."""
    land = result.ground.areas
    told = SYSTEMS[result.bid.units]
    ground = land["ground_area_m2"].to_numpy(float)
    own = land.iloc[at].groupby(land["site"].astype(str), sort=False)["shape"]
    words: dict[tuple[int, ...], str] = {}
    of: dict[object, str] = {}
    for site, some in own:
        shapes = tuple(sorted(some, key=lambda row: (ground[row], row)))
        said = " + ".join(told.area(ground[row], 0) for row in shapes)
        other = said
        if said in words.values():
            other = f"{said} of another shape"
        of[site] = words.setdefault(shapes, other)
    return pd.Series(of, dtype=object)


def _slopes(land: pd.DataFrame) -> pd.Series:
    """The steepest area of each lot, level where no slope is given."""
    steepest = land["slope_pct"].fillna(0.0).groupby(land["site"].astype(str), sort=False).max()
    return steepest.map(lambda slope: f"{_SLOPE_PCT * round(slope / _SLOPE_PCT):g} %")


def _pieces(result: Result, at: np.ndarray) -> pd.Series:
    """How many pieces each lot is laid in."""
    site = result.ground.areas["site"].astype(str).to_numpy()[at]
    count = result.plan.chosen["pieces"].iloc[at].groupby(site, sort=False).sum()
    return count.map(lambda many: f"{many} piece{'' if many == 1 else 's'}")


def _said(name: str, of: pd.Series) -> Iterator[str]:
    """Which lots are not as most are."""
    counts = of.groupby(of, sort=False).size()
    usual = counts.idxmax()  # the first met of equals
    for value in counts.index:
        if value != usual:
            lots = of.index[of == value].tolist()
            more = ""
            if len(lots) > _NAMED:
                more = f" and {len(lots) - _NAMED} more"
            yield f"{name} {value} on {', '.join(lots[:_NAMED])}{more} (else {usual})"
