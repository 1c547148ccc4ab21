"""How the amount of each price line goes from the one report to the other, a step a cause: the
steps add up to what the price moved by.

Where several things moved a line they are parted in this order. Ground: the old quantity goes in
proportion to the surface of its phase. Product: that of a turf in proportion to the surface that is
laid with it. Product and layout: what seams take in proportion to their length. What else moved the
quantity has the rest of it, causes that bear on it together named together. All at the old unit
price; the new one is on the new quantity."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal
from typing import Any, NamedTuple

import pandas as pd

from geoturf import units
from geoturf.price.build_up import STEPS
from geoturf.records import records
from geoturf.revision.causes import GROUND, LAYOUT, LINES, PER_CENT, PRODUCT, RATE, Causes
from geoturf.revision.reports import Report
from geoturf.rules.items import ITEMS

_LEAST = re.compile(r"Least order of [^:]*: ")
QUANTITY = "quantity"
UNIT_PRICE = "unit price"
AMOUNT = "amount"
_KEY_OF = {name: key for name, key, _ in STEPS}
_HUNDREDTH = Decimal("0.01")
_LINES_ALONE: tuple[str, ...] = (LINES,)
#: items whose quantity hangs on how turf is laid out, as strips of fabric do: areas that are drawn
#: alike are laid from one drawing, fabric too. Turf itself is called as its product
_LAID = (
    *("turf", "tape", "adhesive", "seam_nails", "labour_seam", "labour_nail"),
    *("fabric", "geotextile", "fabric_nails", "labour_fabric"),
)
_NOT_LAID = frozenset(item.title for item in ITEMS.values() if item.key not in _LAID)
#: what goes in proportion to the length of seams
_OF_SEAMS = frozenset(ITEMS[key].title for key in ("tape", "adhesive", "labour_seam"))


@dataclass(frozen=True)
class Move:
    """A figure of a line that moved: its ``kind`` is quantity, unit price or amount, None where a
    report has no such line; ``unit`` "" for money. An amount goes by way of other amounts where
    more than one thing moved it."""

    kind: str
    phase: str
    line: str
    unit: str
    old: Decimal | None
    new: Decimal | None
    why: tuple[str, ...]

    @property
    def difference(self) -> Decimal:
        return (self.new or Decimal(0)) - (self.old or Decimal(0))


class _Line(NamedTuple):
    section: str
    phase: str
    description: str
    quantity: str
    unit: str
    unit_price: str
    amount: str


class _Step(NamedTuple):
    step: str
    on: str
    base: str
    rate_pct: str
    amount: str
    book: str


def moves(old: Report, new: Report, causes: Causes) -> list[Move]:
    """What moved of all lines, in the order of the new report's, those that only the old one has
    last."""
    out: list[Move] = []
    befores = _lines(old.lines)
    afters = _lines(new.lines)
    grown = _Grown.of(old, new)
    for key in dict.fromkeys([*afters, *befores]):
        before = befores.get(key)
        after = afters.get(key)
        said = before or after
        if said and before != after:
            item = (said.phase, said.description)
            same_net = item in old.net and old.net.get(item) == new.net.get(item)
            of = causes, grown.of_line(said), said.description in grown.titles
            out += _of_line(before, after, same_net, *of)
    return out + _of_steps(old, new)


def _lines(table: pd.DataFrame) -> dict[tuple[object, ...], _Line]:
    """Lines by what they are for; those of one name (turf in two widths) in their order."""
    found: dict[tuple[object, ...], _Line] = {}
    for line in records(table, _Line):
        # which names date and rate, or the least
        name = "" if line.unit == PER_CENT else _LEAST.sub("Least: ", line.description)
        nth = 0
        while (key := (line.section, line.phase, name, nth)) in found:
            nth += 1
        found[key] = line
    return found


_Ratios = dict[tuple[str, ...], Decimal]
_Ways = list[tuple[tuple[str, ...], Decimal]]  # causes, and what they multiply the old quantity by


@dataclass(frozen=True)
class _Grown:
    """New over old: surface by phase, surface by phase and title of the turf on it, length of seams
    by phase; of what both reports have. ``titles``: of all turf."""

    titles: frozenset[str]
    surface: _Ratios
    turf: _Ratios
    seams: _Ratios

    @classmethod
    def of(cls, old: Report, new: Report) -> _Grown:
        both = [_measured(report) for report in (old, new)]
        surface = _ratios(both, ["phase"], "surface_area")
        turf = _ratios(both, ["phase", "title"], "surface_area")
        titles = frozenset(title for one in both for title in one["title"])
        return cls(titles, surface, turf, _ratios(both, ["phase"], "seams"))

    def of_line(self, line: _Line) -> _Ways:
        """What the old quantity of a line comes to by ground, then by product; by seams, which
        follow product and layout."""
        phase = line.phase
        name = line.description
        seams = self.seams.get((phase,)) if name in _OF_SEAMS else None
        ways = (
            ((GROUND,), self.surface.get((phase,))),
            ((PRODUCT,), self.turf.get((phase, name))),
            ((PRODUCT, LAYOUT), seams),
        )
        return [(causes, ratio) for causes, ratio in ways if ratio is not None]


def _measured(report: Report) -> pd.DataFrame:
    """Areas with the title of their turf, and seams with half of each border that two share."""
    titles = {name: one["title"] for name, one in report.settings["products"].items()}
    areas = report.areas
    product = areas["product"].astype(str)
    seams = areas["seam"] + areas["edge_shared"] / 2
    return areas.assign(title=product.map(titles).fillna(product), seams=seams)


def _ratios(both: list[pd.DataFrame], by: list[str], name: str) -> _Ratios:
    before, after = ({_key(k): v for k, v in one.groupby(by)[name].sum().items()} for one in both)
    some = [key for key, value in before.items() if key in after and value > 0]
    return {key: Decimal(str(after[key])) / Decimal(str(before[key])) for key in some}


def _key(key: Any) -> tuple[str, ...]:
    """The key of a group, which is a tuple only where several columns make it."""
    if isinstance(key, tuple):
        return tuple(map(str, key))
    return (str(key),)


def _of_line(
    before: _Line | None,
    after: _Line | None,
    same_net: bool,
    causes: Causes,
    ways: _Ways,
    turf: bool,
) -> Iterator[Move]:
    """``turf``: it is of a turf."""
    said = after or before
    if said is None:
        return
    name = f"{said.section} {said.description}"
    phase = said.phase
    laid = said.description not in _NOT_LAID
    if before is None or after is None:
        gone, come = (None if one is None else Decimal(one.amount) for one in (before, after))
        yield Move(
            AMOUNT, phase, name, "", gone, come, causes.of_line(phase, said.description, laid, turf)
        )
        return
    quantities = Decimal(before.quantity), Decimal(after.quantity)
    prices = Decimal(before.unit_price), Decimal(after.unit_price)
    start = Decimal(before.amount)
    end = Decimal(after.amount)
    by_quantity = causes.of_quantity(phase, said.description, laid, turf, same_net)
    if said.unit == PER_CENT:
        by_quantity = (RATE,)
    by_price = causes.of_unit_price(said.unit)
    if _LEAST.match(said.description):
        by_price = causes.of_least()
    if before.unit != after.unit:  # neither quantities nor unit prices can be told apart
        yield Move(AMOUNT, phase, name, "", start, end, _both(by_quantity, by_price))
        return
    at = quantities[0]
    amount = start
    for quantity, why in _parted(*quantities, by_quantity, ways):
        yield Move(QUANTITY, phase, name, said.unit, at, quantity, why)
        last = quantity == quantities[1] and prices[0] == prices[1]
        between = end if last else units.cents(quantity * prices[0])
        yield from _step(phase, name, amount, between, why)
        at = quantity
        amount = between
    if prices[0] != prices[1]:
        yield Move(UNIT_PRICE, phase, name, said.unit, *prices, by_price)
    yield from _step(phase, name, amount, end, by_price)


def _parted(
    old: Decimal, new: Decimal, why: tuple[str, ...], ways: _Ways
) -> Iterator[tuple[Decimal, tuple[str, ...]]]:
    """Each step of a quantity: what it comes to, and why."""
    at = old
    for causes, ratio in ways if old != new else ():
        here, rest = (tuple(c for c in why if (c in causes) == own) for own in (True, False))
        by_causes = (old * ratio).quantize(_HUNDREDTH, ROUND_HALF_UP)
        if here and rest and by_causes not in (at, new):
            yield by_causes, here
            at = by_causes
            why = rest
    if at != new:
        yield new, why


def _both(one: tuple[str, ...], other: tuple[str, ...]) -> tuple[str, ...]:
    return tuple(dict.fromkeys([*one, *other]))


def _step(
    phase: str, name: str, old: Decimal, new: Decimal, why: tuple[str, ...]
) -> Iterator[Move]:
    if old != new:
        yield Move(AMOUNT, phase, name, "", old, new, why)


def _of_steps(old: Report, new: Report) -> list[Move]:
    """Steps of the build-up: what they follow the lines by, and what their own rate does."""
    befores, afters = (
        {(one.step, one.book): one for one in records(report.steps, _Step)} for report in (old, new)
    )
    out: list[Move] = []
    for key in dict.fromkeys([*afters, *befores]):
        before = befores.get(key)
        after = afters.get(key)
        name = key[0].capitalize() + (f" (price book {key[1]})" if key[1] else "")
        amounts = [Decimal(one.amount) if one else Decimal(0) for one in (before, after)]
        between = amounts[1]
        rest = _LINES_ALONE
        if before is None or after is None:
            rest = (LINES, RATE)  # its price book stands in one report alone
        elif _rule_of(old, before) != _rule_of(new, after):
            between, rest = _follows(before, after)
        out += _step("", name, amounts[0], between, rest)
        out += _step("", name, between, amounts[1], (RATE,))
    return out


def _rule_of(report: Report, step: _Step) -> tuple[object, ...]:
    """All that a step's amount hangs on but the sum it is reckoned on."""
    name = step.step
    rules = report.settings["price"]
    rate = step.rate_pct if step.book else rules.get(_KEY_OF.get(name, ""), step.rate_pct)
    scale = rules.get("bond_scale") if name == "bond" else None
    least = rules.get("minimum") if not _KEY_OF.get(name, name) else None
    return rate, str(scale), str(least), step.on


def _follows(before: _Step, after: _Step) -> tuple[Decimal, tuple[str, ...]]:
    """The amount that the old rate makes of the new sum, and why it is another. A rate that is no
    single percentage of one sum can't be told from what it is reckoned on."""
    base = Decimal(before.base)
    amount = Decimal(before.amount)
    rate = Decimal(before.rate_pct)
    if before.on != after.on or units.cents(base * rate / 100) != amount:
        return Decimal(after.amount), (LINES, RATE)
    return units.cents(Decimal(after.base) * rate / 100), (LINES,)
