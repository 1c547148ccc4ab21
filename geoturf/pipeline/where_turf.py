"""Where turf is laid: everywhere, or where the comparison of water chooses it, at the price that it
has there."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal
from typing import NamedTuple, cast

import numpy as np
import pandas as pd

from geoturf import check as promises
from geoturf import layout
from geoturf.bid import Bid
from geoturf.clock import Clock
from geoturf.model import Finding, Ground, Result, Staying, Water
from geoturf.pipeline.refusing import refuse_broken
from geoturf.pipeline.stages import Stages
from geoturf.rules import WaterRules
from geoturf.units import SYSTEMS


class Turf(NamedTuple):
    """Where turf is laid: on ``land``, which is the areas in ``rows`` (m,) of all. ``price``: what
    turf on each of all areas is reckoned to cost; None where the bid's own price is asked for
    nowhere. ``on_all``: what turf on every area would cost, where that was worked out."""

    land: Ground
    rows: np.ndarray
    price: pd.Series | None = None
    on_all: Decimal | None = None
    findings: tuple[Finding, ...] = ()

    def rest(self, place: Ground) -> Staying | None:
        """None where turf is laid on all areas."""
        if len(self.rows) == len(place.areas):
            return None
        return Staying(place, self.rows, self.on_all)


_FREE_ROUNDS = 3  # choices at new prices; from then on turf may only leave areas, so it ends


def where_turf(bid: Bid, place: Ground, stages: Stages) -> Turf:
    """On all areas, or on those that the comparison of water turns into turf. A choice is made at
    prices; turf laid on what it chooses, without the rest, costs something else; so the choice is
    made again until it stays at the prices of what it lays."""
    every = np.arange(len(place.areas))
    rules = bid.water
    if rules is None:
        return Turf(place, every)
    if rules.lay == "all":
        return Turf(place, every, stages.priced(bid, place).price.areas["price"])
    from geoturf import water

    if not water.turf_needs_price(rules):
        rows = _to_be_turf(bid, place, None, stages.clock)
        return Turf(_laid_on(bid, place, rows), rows)
    return _where_turf_pays(bid, place, stages)


def _where_turf_pays(bid: Bid, place: Ground, stages: Stages) -> Turf:
    """Where turf is chosen at the price it has where it is chosen. The first prices are estimated
    from the shapes, so that only what is chosen is ever laid."""
    on_all = stages.priced(*_estimated(bid, place))
    refuse_broken("turf on every area", stages.clock("check", promises.broken_promises, on_all))
    first = price = on_all.price.areas["price"]
    laid = pd.Series(None, first.index, dtype=object)  # prices of what was laid in any round
    again = _to_be_turf(bid, place, price, stages.clock)
    rows = None
    count = 0
    land = place
    while rows is None or not np.array_equal(again, rows):
        rows = again
        count = count + 1
        land = _laid_on(bid, place, rows)
        laid.iloc[rows] = stages.priced(bid, land).price.areas["price"].to_numpy()
        price = _as_laid(first, laid, rows)
        if count > _FREE_ROUNDS:
            price = price.where(np.isin(np.arange(len(price)), rows))
        again = _to_be_turf(bid, place, price, stages.clock)
    told = _price_moved(bid, on_all, rows, first, price, count)
    return Turf(land, rows, price, on_all.price.totals["price"], told)


def _to_be_turf(bid: Bid, place: Ground, price: pd.Series | None, clock: Clock) -> np.ndarray:
    """Rows of the areas to be turf, at a ``price`` of turf on each (areas-aligned)."""
    from geoturf import water

    rules = cast(WaterRules, bid.water)
    asked = (place, price, rules, bid.currency, bid.folder, SYSTEMS[bid.units])
    return np.flatnonzero(clock("water", water.to_be_turf, *asked))


def _laid_on(bid: Bid, place: Ground, rows: np.ndarray) -> Ground:
    """The ground of the areas in ``rows``, with house plans told by those alone; the ground itself
    where that is all."""
    if len(rows) == len(place.areas):
        return place
    part = replace(place.only(rows), findings=())
    alike = layout.house_plans(part, bid.layout, SYSTEMS[bid.units])
    return replace(alike, findings=place.findings)


def _estimated(bid: Bid, place: Ground) -> tuple[Bid, Ground]:
    """The bid and its ground with no area laid."""
    method = bid.layout.model_copy(update={"method": "estimate", "lay": ()})
    areas = place.areas.assign(estimated=True)
    return bid.model_copy(update={"layout": method}), replace(place, areas=areas)


def _as_laid(first: pd.Series, laid: pd.Series, rows: np.ndarray) -> pd.Series:
    """The price of turf on every area: as it was ``laid`` last; where it never was, as it was
    estimated ``first``, moved as the prices of ``rows`` were by laying them, so that neither is
    favoured by what estimates have in common."""
    before = sum(first.iloc[rows])
    after = sum(laid.iloc[rows])
    ratio = after / before if before else Decimal(1)
    moved = first.map(lambda price: (price * ratio).quantize(price))
    return moved.where(laid.isna(), laid)


def _price_moved(
    bid: Bid, on_all: Result, rows: np.ndarray, first: pd.Series, last: pd.Series, rounds: int
) -> tuple[Finding, ...]:
    """How the price of turf on the areas chosen moved, from an estimate of their part of turf on
    everything to what they cost, laid and without the rest."""
    if not len(rows) or len(rows) == len(first):
        return ()
    before = sum(first.iloc[rows])
    after = sum(last.iloc[rows])
    moved = "from nothing"
    if before:
        moved = f"{100 * (float(after) / float(before) - 1):+.1f} %"
    chosen = on_all.plan.chosen
    sure = float((chosen["sigma_m2"] / chosen["turf_bought_m2"]).median())
    times = "once more" if rounds == 1 else f"{rounds} times more"
    message = (
        f"turf on the {len(rows)} areas that it is laid on costs {after:,} {bid.currency}; "
        "estimated "
        f"from the shapes, as a part of turf on all {len(first)} areas, it was {before:,} "
        f"({moved}); "
        f"the choice was made {times} at the price of what is laid, and stays; the prices of areas "
        "that "
        f"stay are estimated (one sigma of an area's turf {100 * sure:.1f} %) and moved alike"
    )
    return (Finding("note", "turf-price-moved", message),)


def water_saved(
    place: Ground, turf_price: pd.Series | None, bid: Bid, clock: Clock
) -> Water | None:
    """The comparison of water, where the bid asks for one."""
    if bid.water is None:
        return None
    from geoturf import water

    rules = bid.water
    told = SYSTEMS[bid.units]
    asked = (place, turf_price, rules, bid.currency, bid.folder, bid.products, told)
    return clock("water", water.compare, *asked)
