"""What can have moved a figure: the ground, the turf laid on it, its layout, a unit cost, another
rule of the bid.

A report says what its figures are, not how each would be under the other's ground or rules: where
more than one cause is at work on a figure, all that bear on it are named together
(`geoturf.revision.money` parts those of a line by its own rule).
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np
import pandas as pd

from geoturf.price.build_up import STEPS
from geoturf.revision.lots import Lots
from geoturf.revision.reports import Report
from geoturf.rules.base import key_of
from geoturf.rules.items import ITEMS, work_of
from geoturf.rules.materials import MaterialRules

GROUND = "ground"
PRODUCT = "product"
LAYOUT = "layout"
COST = "unit cost"
RULE = "rule"
RATE = "rate"
LINES = "lines"
OTHER = "other"
#: in the words of a page
MEANT = {
    GROUND: "areas came, went, or are of another shape, measure, site, phase or use",
    PRODUCT: "areas are laid with other turf",
    LAYOUT: "the same ground is laid out or cut otherwise",
    COST: "a unit cost, or a price of turf, is another",
    RULE: "a rule that quantities hang on is another",
    RATE: "a percentage of the build-up, or what it is of, is another",
    LINES: "it follows the lines it is reckoned on",
    OTHER: "nothing in the reports tells: another version of geoturf, or a file read beside the "
    "layers",
}

#: the unit of escalation: a percentage of the phase's other lines
PER_CENT = "%"

_GROUND = (
    *(
        "site",
        "phase",
        "use",
        "price_book",
        "slope_pct",
        "plan_area",
        "ground_area",
        "surface_area",
    ),
    *("perimeter", "edge_paving", "edge_building", "edge_shared", "edge_open"),
)
_LAYOUT = ("pile_bearing_deg", "seam", "cross_seams", "pieces", "piece_area", "turf_bought")
#: settings that nothing of a price hangs on, or, as layers, but by what the ground tells of them;
#: by their first word
_IDLE = {
    *("name", "bidder", "client", "terms", "base_map", "base_map_credit", "limits", "water"),
    *("keep", "ranges", "calendar", "layers"),
}
_COSTS = {"costs", "price", "extras", "wage", "crew", "burden", "breaks", "least", "least_charge"}
#: rules of the build-up, which no quantity hangs on
_RATES = {*(key for _, key, _ in STEPS), "bond_scale", "tax_on_plant", "minimum", "escalation"}
#: rules of how turf is laid and cut
_LAID = {"layout", "cuts"}


_TITLES = frozenset(item.title for item in ITEMS.values())


@cache
def _own_items() -> dict[str, frozenset[str]]:
    """The titles of the items that an allowance or a production rate bears on, by the setting's
    name."""
    rules = MaterialRules()
    found = dict[str, set[str]]()
    for item in ITEMS.values():
        if field := item.allowance_rule(rules):
            found.setdefault(f"materials.{key_of(field)}", set()).add(item.title)
        for work in work_of(item.key):
            found.setdefault(f"materials.rates.{key_of(work.rate)}", set()).add(item.title)
    return {name: frozenset(titles) for name, titles in found.items()}


@dataclass(frozen=True)
class Setting:
    """A setting that is not the same in both reports; "" where one has none."""

    name: str
    old: str
    new: str
    cause: str  # what it can move figures by; "" where no price hangs on it

    def bears_on(self, line: str, turf: bool) -> bool:
        """Whether the quantity of a ``line`` may hang on it. Of a turf's order none does but by way
        of what seams cost; allowances and production rates bear on their own items."""
        own = _own_items().get(self.name)
        if self.name.startswith("materials.") and turf:
            return False
        return own is None or line in own or line not in _TITLES


@dataclass(frozen=True)
class Causes:
    """``ground``, ``product``, ``layout``: phases in which they moved."""

    ground: frozenset[str]
    product: frozenset[str]
    layout: frozenset[str]
    settings: tuple[Setting, ...]

    @classmethod
    def of(cls, old: Report, new: Report, lots: Lots) -> Causes:
        came = {*old.areas["phase"].iloc[lots.gone], *new.areas["phase"].iloc[lots.come]}
        moved = {
            name: _phases_where(old.areas, new.areas, lots, columns)
            for name, columns in ((GROUND, _GROUND), (PRODUCT, ("product",)), (LAYOUT, _LAYOUT))
        }
        came |= {*new.areas["phase"].iloc[[pair.new for pair in lots.both if pair.reshaped]]}
        ground = frozenset(moved[GROUND] | came)
        settings = tuple(_settings(old.settings, new.settings))
        return cls(ground, frozenset(moved[PRODUCT]), frozenset(moved[LAYOUT]), settings)

    def of_quantity(
        self, phase: str, line: str, laid: bool, turf: bool = False, same_net: bool = False
    ) -> tuple[str, ...]:
        """What can have moved a quantity of a ``phase``, that of a ``line``. ``laid``: it hangs on
        the layout too, which may be another where ground or turf is not the same only if a rule or
        a price would have it so; ``turf``: it is the turf's own; ``same_net``: what the ground
        takes is the same before allowance and rounding."""
        at = {phase}
        ruled = any(one.cause == RULE and one.bears_on(line, turf) for one in self.settings)
        relaid = laid and bool(at & self.layout)
        if same_net and ruled and not relaid:
            return (RULE,)
        on_site = [GROUND] * bool(at & self.ground) + [PRODUCT] * bool(at & self.product)
        weighed = not on_site or self._any(LAYOUT) or self._any(COST)
        return (*on_site, *[LAYOUT] * (relaid and weighed), *[RULE] * ruled) or (OTHER,)

    def of_unit_price(self, unit: str) -> tuple[str, ...]:
        """What can have moved the price of a ``unit``. A lump sum is shared among phases by their
        surface; a percentage is of the phase's other lines."""
        if unit == PER_CENT:
            return (LINES,)
        if self._any(COST):
            return (COST,)
        if unit == "lump" and self.ground:
            return (GROUND,)
        if self._any(RULE):
            return (RULE,)
        return (OTHER,)

    def of_least(self) -> tuple[str, ...]:
        """What can have moved what an order falls short of its least."""
        return (LINES, *[COST] * self._any(COST))

    def of_line(self, phase: str, line: str, laid: bool, turf: bool) -> tuple[str, ...]:
        """Why a line stands in one of the reports only: it is ordered by one of them alone, or is
        without a unit cost in the other."""
        found = self.of_quantity(phase, line, laid, turf)
        known = tuple(cause for cause in found if cause != OTHER)
        return (*known, *[COST] * self._any(COST)) or found

    def _any(self, cause: str) -> bool:
        return any(setting.cause == cause for setting in self.settings)


def _phases_where(
    old: pd.DataFrame, new: pd.DataFrame, lots: Lots, columns: tuple[str, ...]
) -> set[str]:
    """Phases, before and after, of areas that are not the same in ``columns``."""
    one = old.iloc[[pair.old for pair in lots.both]]
    other = new.iloc[[pair.new for pair in lots.both]]
    differs = np.zeros(len(lots.both), dtype=bool)
    for name in columns:
        if name in one and name in other:
            differs |= one[name].to_numpy() != other[name].to_numpy()
    return {*one["phase"][differs], *other["phase"][differs]}


def _settings(old: dict[str, Any], new: dict[str, Any]) -> Iterator[Setting]:
    ones = dict(_flat(old))
    others = dict(_flat(new))
    for name in dict.fromkeys([*ones, *others]):
        before = ones.get(name, "")
        after = others.get(name, "")
        if before != after:
            yield Setting(name, before, after, _cause(name))


def _flat(value: Any, path: str = "") -> Iterator[tuple[str, str]]:
    """Each setting's name, as in ``materials.rates.dig``, and its value as text."""
    if isinstance(value, dict) and value.keys() >= {"amount", "currency", "unit"}:
        yield path, f"{value['amount']} {value['currency']}/{value['unit']}"
    elif isinstance(value, dict):
        for key, inner in value.items():
            yield from _flat(inner, f"{path}.{key}" if path else str(key))
    elif isinstance(value, list) and any(isinstance(one, dict) for one in value):
        for nth, inner in enumerate(value):
            yield from _flat(inner, f"{path}.{nth + 1}")
    else:
        yield path, _plain(value)


def _plain(value: Any) -> str:
    if isinstance(value, float):
        return f"{value:.6g}"
    if isinstance(value, str):
        return value
    return json.dumps(value, ensure_ascii=False)


def _cause(name: str) -> str:
    first, *rest = name.split(".")
    rest = rest[1:] if first in ("products", "books") else rest  # without the name given to it
    if first in _IDLE or {"alternates", "combine", "unit_price_decimals"} & set(rest):
        return ""
    if first in ("price", "books") and _RATES & set(rest):
        return RATE
    if first in ("price", "products", "books") and _COSTS & set(rest):
        return COST
    return LAYOUT if first in _LAID else RULE
