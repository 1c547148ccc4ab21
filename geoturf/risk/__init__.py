"""Risk: how sure a price is, by drawing what it rests on from the ranges that the bid gives.

figures   what has a range, and its draws
repriced  the price with other figures, whole columns at once: cut plan and takeoff's nets stay

One draw of a figure holds for all phases; figures are drawn independently of each other. The
survey's accuracy is drawn too. Where no range is given there is nothing: ranges are the bid's,
never geoturf's.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
import pandas as pd

from geoturf.model import Ground, Price, Risk, Takeoff
from geoturf.risk.figures import Drawn, Figure, draws, figures, normal
from geoturf.risk.repriced import Repriced, Terms
from geoturf.rules import MaterialRules, Product, Ranges

__all__ = ["Terms", "spread", "survey_sigma"]

PERCENTILES = (0.10, 0.50, 0.80, 0.90)
_SURVEY = "survey's accuracy"


def survey_sigma(ground: Ground, price: Price) -> np.ndarray:
    """One sigma of each area's price from the source's positional accuracy: its price in proportion
    to its ground."""
    land = ground.areas
    part = land["area_tolerance_m2"].to_numpy(float) / land["ground_area_m2"].to_numpy(float)
    return np.asarray(price.areas["price"].to_numpy(float) * part)


def spread(
    ground: Ground,
    takeoff: Takeoff,
    price: Price,
    rules: MaterialRules,
    ranges: Ranges,
    own: Mapping[str, Mapping[str, Any]],
    terms: Mapping[str, Terms],
    products: Mapping[str, Product],
) -> Risk:
    """``own``: the bid's own value of all that may have a range; ``terms``: what holds under each
    price book."""
    ranged = figures(ranges, own)
    anew = Repriced(ground.areas, takeoff, price, rules, ranged, terms, products)
    drawn = draws(ranged, ranges.draws, ranges.seed)
    off = _survey(ground, price)
    sure = 1 + off * normal(_SURVEY, ranges.draws, ranges.seed)
    wanted = round(ranges.confidence, 9)  # 95 % is not quite 0.95
    cost, asked = (one * sure for one in anew.priced(drawn))
    carried = float(price.totals["cost"])
    bare = carried - float(price.totals["contingency"])
    on = float(price.totals["direct cost"] + price.totals["waste"])
    return Risk(
        percentiles=_percentiles(cost, asked, bare, on, wanted),
        moves=_moves(ranged, anew, drawn, asked, sure, off, float(price.totals["price"])),
        covered=float((cost <= carried).mean()),
        survey=off,
        confidence=wanted,
    )


def _survey(ground: Ground, price: Price) -> float:
    """One sigma of the whole price, as a fraction of it; areas are taken as independent."""
    whole = float(price.totals["price"])
    if whole:
        return float(np.sqrt((survey_sigma(ground, price) ** 2).sum())) / whole
    return 0.0


def _percentiles(
    cost: np.ndarray, price: np.ndarray, bare: float, on: float, wanted: float
) -> pd.DataFrame:
    """Cost without contingency and price that a part of the draws stays within, and the contingency
    that would carry that cost, in money and as a fraction of direct cost and waste."""
    parts = sorted({*PERCENTILES, wanted})
    rows = []
    for part in parts:
        within = np.quantile(cost, part)
        asked = np.quantile(price, part)
        contingency = max(0.0, within - bare)
        rows.append((part, within, asked, contingency, contingency / on if on else 0.0))
    named = ["percentile", "cost", "price", "contingency", "contingency_part"]
    return pd.DataFrame(rows, columns=named)


def _moves(
    ranged: list[Figure],
    anew: Repriced,
    drawn: Drawn,
    price: np.ndarray,
    sure: np.ndarray,
    off: float,
    whole: float,
) -> pd.DataFrame:
    """What moves the price most first: the price with each figure alone at its low and its high
    end, and its rank correlation with the drawn prices (Spearman's)."""
    ranks = _ranks(price)
    rows: list[tuple[object, ...]] = []
    for one in ranged:
        alone = {one.name: np.array([one.low, one.high])}
        low, high = anew.priced(alone)[1]
        told = (one.table, one.key, one.low, one.likely, one.high, one.unit, low, high)
        rows.append((*told, _correlation(_ranks(drawn[one.name]), ranks)))
    if off > 0:
        ends = (-off, 0.0, off, "of the price, one sigma")
        at = (whole * (1 - off), whole * (1 + off), _correlation(_ranks(sure), ranks))
        rows.append(("survey", _SURVEY, *ends, *at))
    out = pd.DataFrame(rows, columns=_MOVES)
    share = out["rank_correlation"] ** 2
    out["share"] = share / share.sum() if share.sum() > 0 else 0.0
    return out.sort_values(
        "share",
        ascending=False,
        kind="stable",
        ignore_index=True,
    )


_MOVES = [
    *("table", "figure", "low", "likely", "high", "unit"),
    *("price_low", "price_high", "rank_correlation"),
]


def _ranks(values: np.ndarray) -> np.ndarray:
    """Ranks, equal values sharing theirs."""
    return pd.Series(values).rank().to_numpy()


def _correlation(one: np.ndarray, other: np.ndarray) -> float:
    if one.std() == 0 or other.std() == 0:
        return 0.0
    return float(np.corrcoef(one, other)[0, 1])
