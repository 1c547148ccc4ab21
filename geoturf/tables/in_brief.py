"""The bid on a few lines, for the terminal, the map and run.json."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from geoturf import units
from geoturf.model import Result
from geoturf.tables.lots import price_sigma
from geoturf.tables.making import waste_pct


def summary(result: Result) -> list[tuple[str, str]]:
    """The bid on a few lines: word, value."""
    land, pools = result.ground.areas, result.plan.pools
    area = units.SHOWN["area"][result.bid.units]
    bought, bound = pools["bought_m2"].sum(), pools["bound_m2"].sum()
    by_hand = pools["by_hand_m2"].sum()
    rows = [
        ("sites", f"{land['site'].nunique():,}"),
        ("areas", f"{len(land):,}"),
        ("ground area", f"{land['ground_area_m2'].sum() * area.factor:,.0f} {area.unit}"),
        *([("were turf laid on every area:", "")] if result.water is not None else []),
        ("turf bought", f"{bought * area.factor:,.0f} {area.unit}"),
        ("waste over the ground", f"{waste_pct(bought, land['surface_area_m2'].sum()):.1f} %"),
        (
            "  each area alone, by hand",
            f"{waste_pct(by_hand, land['surface_area_m2'].sum()):.1f} %",
        ),
        ("over the proven bound", f"{waste_pct(bought, bound):.1f} %"),
        (
            "rolls and lengths",
            f"{int(pools['rolls'].sum()):,}",
        ),  # bought; left-overs at hand are not
        (_price_of(result), f"{result.price.totals['price']:,} {result.bid.currency}"),
    ]
    rows += _sure(result)
    if (sigma := float(np.sqrt((price_sigma(result) ** 2).sum()))) > 0:
        rows.append(
            ("  one sigma of the survey, not of costs", f"{sigma:,.2f} {result.bid.currency}")
        )
    if result.source.left_out:
        rows.append(("NOT PRICED", f"{result.source.left_out:,}"))
    return rows


def _sure(result: Result) -> Iterator[tuple[str, str]]:
    """How sure the price is, where the bid gives ranges."""
    if result.risk is None:
        return
    at = result.risk.percentiles.set_index("percentile")
    money, wanted = result.bid.currency, result.risk.confidence
    yield (
        "  8 of 10 draws lie within",
        f"{at['price'][0.1]:,.0f} to {at['price'][0.9]:,.0f} {money}",
    )
    part = f"{100 * at['contingency_part'][wanted]:.1f} %"
    needed = f"{at['contingency'][wanted]:,.0f} {money} ({part})"
    yield f"  contingency to be {100 * wanted:.0f} % sure", needed
    yield "  the contingency carried is enough", f"in {100 * result.risk.covered:.0f} % of draws"


def _price_of(result: Result) -> str:
    """What the price is of: where water is compared it is no plan, but what turf on everything
    would cost."""
    return "price" if result.water is None else "price of turf on every area"
