"""How sure the price is: percentiles, the contingency they ask for, what moves the price most."""

from __future__ import annotations

from geoturf.bid import Bid
from geoturf.model import Risk, RiskMove, RiskPercentile
from geoturf.planner.html import note, section, table
from geoturf.records import records

_MOST = 10  # figures told; risk_moves.csv has all


def told(risk: Risk | None, bid: Bid) -> object:
    """The section; nothing where the bid gives no ranges."""
    if risk is None:
        return ""
    heads = (
        "of the draws within",
        "cost, no contingency",
        "price",
        "contingency asked for",
        "of direct cost",
    )
    rows = [_row(one) for one in records(risk.percentiles, RiskPercentile)]
    moved = ("figure", "price at its low end", "at its high end", "part of the variance")
    moves = [_move(one) for one in records(risk.moves.head(_MOST), RiskMove)]
    how = f"{bid.ranges.draws:,} draws from the ranges of the bid and the survey's accuracy"
    what = "what has no range stays as it is"
    carried = f"The contingency carried is enough in {100 * risk.covered:.0f} % of them"
    said = note(f"{how}; {what}. {carried}. All money in {bid.currency}.")
    return section("How sure the price is", said, table(heads, rows), table(moved, moves))


def _row(one: RiskPercentile) -> tuple[object, ...]:
    money = (f"{one.cost:,.0f}", f"{one.price:,.0f}", f"{one.contingency:,.0f}")
    return (f"{100 * one.percentile:.0f} %", *money, f"{100 * one.contingency_part:.1f} %")


def _move(one: RiskMove) -> tuple[object, ...]:
    ends = (f"{one.price_low:,.0f}", f"{one.price_high:,.0f}")
    name = one.figure if one.table == "survey" else f"{one.table}: {one.figure}"
    return (name.replace("_", " "), *ends, f"{100 * one.share:.0f} %")
