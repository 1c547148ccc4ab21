"""risk.csv and risk_moves.csv: percentiles between bounds in closed form, ranges as the bid gives
them.

Figures are drawn apart from each other, each from a triangle between its ends, so the spread of the
price is a sum of spreads: a triangle of range r has a variance of r²/18 at the most, and its mean a
third of r from either end at the least. What part of draws lies beyond is then bounded whatever the
shape of the sum (Cantelli's inequality: no more than 1/(1 + k²) lie k sigma or more past the mean).
"""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal
from typing import Any

import numpy as np

from geoturf.audit.folder import Folder, Table
from geoturf.audit.told import Floats, Told, between, compared, first_wrong

_TOGETHER = 0.05  # of the sum of ranges: figures multiply (hours by rates), so they do not just add


def promises(folder: Folder) -> Iterator[Told]:
    if not folder.has("risk"):
        return
    risk = folder.table("risk")
    moves = folder.table("risk_moves")
    yield _percentiles(folder, risk, moves)
    yield _contingency(folder, risk)
    yield _ranges(folder, moves)
    yield _ends(moves)
    yield _shares(moves)


def _percentiles(folder: Folder, risk: Table, moves: Table) -> Told:
    part = risk.numbers("percentile") / 100
    told = risk.numbers("price")
    price = float(sum(folder.table("bid").money("amount"), Decimal(0)))
    low, high, sigma = _spread(moves, price)
    least = price + low - sigma * np.sqrt((1 - part) / part)
    most = price + high + sigma * np.sqrt(part / (1 - part))
    names = [f"P{100 * one:.0f}" for one in part]
    if (np.diff(told[np.argsort(part)]) < 0).any():
        return first_wrong("risk", "percentiles", ["percentiles do not rise"], len(told))
    return between("risk", "prices of percentiles", names, told, least, most)


def _spread(moves: Table, price: float) -> tuple[float, float, float]:
    """The least and the most that the mean of the draws is over the price, and the most sigma."""
    survey = np.array([one == "survey" for one in moves.text("table")], bool)
    ends = np.column_stack([moves.numbers("price_low"), moves.numbers("price_high")]) - price
    low = ends.min(axis=1)
    high = ends.max(axis=1)
    width = (high - low)[~survey]
    near = width.sum() * _TOGETHER
    sigma = float(np.sqrt((width**2).sum() / 18 + ((high - low)[survey] ** 2).sum() / 4))
    least = float((low[~survey] + width / 3).sum() - near)
    return least, float((high[~survey] - width / 3).sum() + near), 1.05 * sigma + near / 3


def _contingency(folder: Folder, risk: Table) -> Told:
    """What has to be carried is cost less the bid's own without contingency; none where that is
    enough."""
    table = folder.table("build_up")
    steps = list(zip(table.text("step"), table.numbers("amount"), strict=True))
    subtotal = zip(table.text("step"), table.numbers("subtotal"), strict=True)
    bare = sum(amount for step, amount in subtotal if step == "sales tax")
    bare -= sum(amount for step, amount in steps if step == "contingency")
    own = np.maximum(risk.numbers("cost") - bare, 0)
    names = [f"P{one}" for one in risk.text("percentile")]
    told = risk.numbers("contingency")
    return compared("contingency of risk", "contingency asked for", names, told, own, 0.02)


def _ranges(folder: Folder, moves: Table) -> Told:
    """Every range of the bid is there, money and fractions at its ends."""
    stated = folder.settings["ranges"]
    given = {
        (table, key): ends
        for table, keys in stated.items()
        if isinstance(keys, dict)
        for key, ends in keys.items()
    }
    told = _told(moves)
    wrong = [f"{table}.{key} is not told" for table, key in given if (table, key) not in told]
    for (table, key), ends in given.items():
        if table == "rates" or (table, key) not in told:
            continue
        low, high = told[table, key]
        own = [_number(ends[0]), _number(ends[-1])]
        if np.abs(np.subtract([low, high], own)).max() > 1e-6:
            wrong.append(
                f"{table}.{key} is told {low:g} to {high:g}, given {own[0]:g} to {own[1]:g}"
            )
    return first_wrong("ranges", "ranges of the bid", wrong, len(given))


def _told(moves: Table) -> dict[tuple[str, str], tuple[float, float]]:
    keys = zip(moves.text("table"), moves.text("figure"), strict=True)
    ends = zip(moves.numbers("low"), moves.numbers("high"), strict=True)
    return dict(zip(keys, ends, strict=True))


def _number(stated: Any) -> float:
    return float(stated["amount"] if isinstance(stated, dict) else stated)


def _ends(moves: Table) -> Told:
    """Whatever costs more makes the price no lower."""
    rows = zip(
        moves.text("table"),
        moves.text("figure"),
        moves.numbers("price_low"),
        moves.numbers("price_high"),
        strict=True,
    )
    costs = [row[1:] for row in rows if row[0] in ("costs", "turf")]
    wrong = [
        f"{figure}: {cheap:,.2f} at the low end, {dear:,.2f} at the high"
        for figure, cheap, dear in costs
        if dear < cheap - 0.01
    ]
    return first_wrong("ranges' ends", "prices at the ends of ranges", wrong, len(costs))


def _shares(moves: Table) -> Told:
    """Parts of the variance are squares of the rank correlations over their sum."""
    squares: Floats = moves.numbers("rank_correlation") ** 2
    own = 100 * squares / squares.sum() if squares.sum() > 0 else 0 * squares
    room = 0.051 + 0.11 / max(float(np.sqrt(squares.sum())), 1e-3)
    names = moves.text("figure")
    told = moves.numbers("share_pct")
    return compared("shares of risk", "parts of the variance", names, told, own, room, "%")
