"""The rows of changes.csv."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from decimal import Decimal
from typing import Any

import pandas as pd

from geoturf import columns
from geoturf.records import Column
from geoturf.revision.causes import Causes
from geoturf.revision.lots import Lots
from geoturf.revision.money import AMOUNT, UNIT_PRICE, Move
from geoturf.revision.reports import Report
from geoturf.units import SHOWN

PRICE, PHASE, SITE_PRICE, SITE, AREA, SETTING = (
    "price", "phase price", "site price", "site", "area", "setting",
)  # fmt: skip
ADDED = "added"
REMOVED = "removed"
_CENT = Decimal("0.01")
_Row = dict[str, object]


def rows(
    old: Report, new: Report, lots: Lots, moves: Iterable[Move], causes: Causes
) -> dict[str, Column]:
    """All of them, by the names of their columns."""
    found = [
        _money(PRICE, old.price, new.price, new.currency),
        *_shares(PHASE, "phase", old, new),
        *_shares(SITE_PRICE, "site", old, new),
        *_sites(old, new),
        *_areas(old, new, lots),
        *(_line(move, new.currency) for move in moves),
        *_settings(old, new, causes),
    ]
    names = [column.base for column in columns.of("changes")]
    table = pd.DataFrame(found, columns=names).astype(object).fillna("")
    return {name: table[name] for name in names}


def _money(kind: str, old: Decimal | None, new: Decimal | None, unit: str) -> _Row:
    difference = (new or Decimal(0)) - (old or Decimal(0))
    return {
        "kind": kind,
        "unit": unit,
        "old": old,
        "new": new,
        "difference": difference,
    }


def _shares(kind: str, by: str, old: Report, new: Report) -> Iterator[_Row]:
    """What moved of the price of each phase or site."""
    before, after = (_summed(report.areas, by) for report in (old, new))
    for name in dict.fromkeys([*before, *after]):
        one = before.get(name)
        other = after.get(name)
        if one != other:
            yield _money(kind, one, other, new.currency) | {by: name}


def _summed(areas: pd.DataFrame, by: str) -> dict[str, Decimal]:
    """Prices of areas by phase or site."""
    sums: dict[str, Decimal] = {}
    for name, price in zip(areas[by], areas["price"], strict=True):
        sums[name] = sums.get(name, Decimal(0)) + Decimal(price)
    return sums


def _sites(old: Report, new: Report) -> Iterator[_Row]:
    """Sites that stand in one report only, with their ground."""
    before, after = (
        report.areas.groupby("site", sort=False)[["ground_area"]].sum() for report in (old, new)
    )
    for name in before.index.difference(after.index, sort=False):
        yield _ground(SITE, before.loc[name], None, new, REMOVED) | {"site": name}
    for name in after.index.difference(before.index, sort=False):
        yield _ground(SITE, None, after.loc[name], new, ADDED) | {"site": name}


def _areas(old: Report, new: Report, lots: Lots) -> Iterator[_Row]:
    """Areas that came, went, or are not what they were."""
    unit = SHOWN["area"][new.units].unit
    for pair in lots.both:
        before = old.areas.iloc[pair.old]
        after = new.areas.iloc[pair.new]
        why = "; ".join(_moved(before, after, pair.gained, pair.lost, unit))
        if why:
            yield _ground(AREA, before, after, new, why) | _named(after)
    for at in lots.gone:
        gone = old.areas.iloc[at]
        yield _ground(AREA, gone, None, new, REMOVED) | _named(gone)
    for at in lots.come:
        come = new.areas.iloc[at]
        yield _ground(AREA, None, come, new, ADDED) | _named(come)


def _named(area: pd.Series[Any]) -> _Row:
    return {name: area[name] for name in ("phase", "site", "area")}


def _moved(
    before: pd.Series[Any], after: pd.Series[Any], gained: float, lost: float, unit: str
) -> Iterator[str]:
    """What is another about an area that stands in both."""
    if (before["site"], before["area"]) != (after["site"], after["area"]):
        yield f"the same ground was {before['site']} {before['area']}"
    if gained or lost:
        yield f"shape: gained {gained:,.2f} {unit}, lost {lost:,.2f} {unit}"
    elif before["ground_area"] != after["ground_area"]:
        yield "measure: of the same outline"
    for name in ("phase", "product", "use", "slope_pct"):
        if before[name] != after[name]:
            yield f"{name} was {_or_none(before[name])}"


def _or_none(value: object) -> str:
    if value == "":
        return "none"
    return str(value)


def _ground(
    kind: str, old: pd.Series[Any] | None, new: pd.Series[Any] | None, report: Report, why: str
) -> _Row:
    """The ground of a site or an area, in the reports' unit."""
    shown = SHOWN["area"][report.units]
    one, other = (
        None if row is None else _fixed(row["ground_area"], shown.decimals) for row in (old, new)
    )
    difference = (other or Decimal(0)) - (one or Decimal(0))
    told: _Row = {
        "kind": kind,
        "unit": shown.unit,
        "old": one,
        "new": other,
    }
    return told | {"difference": difference, "why": why}


def _fixed(value: float, decimals: int) -> Decimal:
    return Decimal(f"{value:.{decimals}f}")


def _line(move: Move, currency: str) -> _Row:
    units = {AMOUNT: currency, UNIT_PRICE: f"{currency}/{move.unit}"}
    told: _Row = {
        "kind": move.kind,
        "phase": move.phase,
        "line": move.line,
    }
    told |= {
        "unit": units.get(move.kind, move.unit),
        "old": move.old,
        "new": move.new,
    }
    told |= {"difference": move.difference, "why": ", ".join(move.why)}
    return told


def _settings(old: Report, new: Report, causes: Causes) -> Iterator[_Row]:
    """Settings in force that are not the same, as run.json has them."""
    if old.version != new.version:
        yield {
            "kind": SETTING,
            "line": "version",
            "old": old.version,
            "new": new.version,
        }
    for one in causes.settings:
        told: _Row = {
            "kind": SETTING,
            "line": one.name,
            "old": one.old,
            "new": one.new,
        }
        yield told | {"why": one.cause}
