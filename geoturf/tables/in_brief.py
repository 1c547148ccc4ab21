"""The bid on a few lines, for the terminal, the map and run.json."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from geoturf import units
from geoturf.model import Result
from geoturf.tables.lots import price_sigma
from geoturf.tables.making import laid, waste_pct

_ON_ALL = "were turf laid on every area:"


def summary(result: Result) -> list[tuple[str, str]]:
    """The bid on a few lines: word, value; where a comparison of water says where turf is laid, of
    that turf alone."""
    if not result.any_turf:
        none = ("turf", "chosen nowhere: none is laid or priced")
        return [none, *_on_all(result), *_left(result)]
    land = result.ground.areas
    pools = result.plan.pools
    area = units.SHOWN["area"][result.bid.units]
    bought = pools["bought_m2"].sum()
    bound = pools["bound_m2"].sum()
    rows = [
        *_whose(result),
        ("sites", f"{land['site'].nunique():,}"),
        ("areas", f"{len(land):,}"),
        ("ground area", f"{land['ground_area_m2'].sum() * area.factor:,.0f} {area.unit}"),
        ("turf bought", f"{bought * area.factor:,.0f} {area.unit}{_how(result)}"),
        *_estimated(result),
        ("waste over the ground", f"{waste_pct(bought, land['surface_area_m2'].sum()):.1f} %"),
        *(_by_hand(result) if result.plan.estimate is None else ()),
        ("over the proven bound", _over(bought, bound)),
        (
            "rolls and lengths",
            f"{int(pools['rolls'].sum()):,}{_how(result)}",
        ),  # bought; left-overs at hand are not
        (
            price_word(result),
            f"{result.price.totals['price']:,} {result.bid.currency}{_how(result)}",
        ),
    ]
    rows += _sure(result)
    if (sigma := float(np.sqrt((price_sigma(result) ** 2).sum()))) > 0:
        rows.append(
            ("  one sigma of the survey, not of costs", f"{sigma:,.2f} {result.bid.currency}")
        )
    return [*rows, *_on_all(result), *_left(result)]


def _whose(result: Result) -> Iterator[tuple[str, str]]:
    """Which turf it is, where water is compared."""
    if result.water is not None:
        yield ("turf where it is chosen:" if result.turf_is_chosen else _ON_ALL), ""


def _on_all(result: Result) -> Iterator[tuple[str, str]]:
    """What turf on every area would cost, where some stay."""
    stays = result.staying
    if stays is not None and stays.price_on_all is not None:
        on_all = f"{stays.price_on_all:,} {result.bid.currency}, estimated"
        yield "  turf on every area would be", on_all


def _left(result: Result) -> Iterator[tuple[str, str]]:
    if result.source.left_out:
        yield "NOT PRICED", f"{result.source.left_out:,}"


def _how(result: Result) -> str:
    """What is said behind figures that nobody laid."""
    if result.plan.estimate is None:
        return ""
    return ", partly estimated" if laid(result) else ", estimated"


def _estimated(result: Result) -> Iterator[tuple[str, str]]:
    """How many areas are estimated, and how sure their turf is."""
    if result.plan.estimate is None:
        return
    area = units.SHOWN["area"][result.bid.units]
    bought, sigma = turf_sigma(result)
    low, high = (area.factor * (bought + side * sigma) for side in (-1, 1))
    yield "  areas estimated, not laid", f"{len(result.plan.estimate.areas):,}"
    yield "  two times in three it is within", f"{low:,.0f} to {high:,.0f} {area.unit}"


def turf_sigma(result: Result) -> tuple[float, float]:
    """Turf bought in all, and one standard deviation of it (0 where all is laid): what pools have
    in common, a kind of shape that the estimate does not know, does not even out between them."""
    pools = result.plan.pools
    sigma = 0.0
    if "sigma_m2" in pools:
        sigma = pools["sigma_m2"].sum()
    return float(pools["bought_m2"].sum()), float(sigma)


def _over(bought: float, bound: float) -> str:
    if bought > 0 and bound <= 0:
        return "no telling: by its area stock at hand may do"
    return f"{waste_pct(bought, bound):.1f} %"


def _by_hand(result: Result) -> Iterator[tuple[str, str]]:
    by_hand = result.plan.pools["by_hand_m2"]
    needed = result.ground.areas["surface_area_m2"]
    yield "  each area alone, by hand", f"{waste_pct(by_hand.sum(), needed.sum()):.1f} %"


def _sure(result: Result) -> Iterator[tuple[str, str]]:
    """How sure the price is, where the bid gives ranges."""
    if result.risk is None:
        return
    at = result.risk.percentiles.set_index("percentile")
    money = result.bid.currency
    wanted = result.risk.confidence
    yield (
        "  8 of 10 draws lie within",
        f"{at['price'][0.1]:,.0f} to {at['price'][0.9]:,.0f} {money}",
    )
    part = f"{100 * at['contingency_part'][wanted]:.1f} %"
    needed = f"{at['contingency'][wanted]:,.0f} {money} ({part})"
    yield f"  contingency to be {100 * wanted:.0f} % sure", needed
    yield "  the contingency carried is enough", f"in {100 * result.risk.covered:.0f} % of draws"


def price_word(result: Result) -> str:
    """What the price is of."""
    if result.water is None:
        return "price"
    return "price of this turf" if result.turf_is_chosen else "price of turf on every area"
