"""What an item of the takeoff is: one record that says all of it, refused where it does not."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal, TypeAlias, get_args

from geoturf import data, units

if TYPE_CHECKING:
    import numpy as np
    import pandas as pd
    from numpy.typing import NDArray

    from geoturf.rules.materials import MaterialRules

#: measures of each area (`geoturf.materials.quantities`) and the rules -> its net quantity
Formula: TypeAlias = (
    "Callable[[pd.DataFrame, MaterialRules], pd.Series[float] | NDArray[np.float64]]"
)
Setting: TypeAlias = "Callable[[MaterialRules], float]"
Measure: TypeAlias = "Callable[[pd.DataFrame], pd.Series[float]]"


@dataclass(frozen=True, slots=True)
class Work:
    """A measure of each area over what a crew gets done of it in an hour, or times the hours that
    one takes."""

    measure: Measure
    rate: str  # field of `geoturf.rules.materials.Rates`

    def __call__(self, q: pd.DataFrame, rules: MaterialRules) -> pd.Series[float]:
        rate: float = getattr(rules.rates, self.rate)
        measured = self.measure(q)
        if takes_time(self.rate):
            return measured * rate
        return measured / rate


@dataclass(frozen=True, slots=True)
class Hours:
    """The hours of a task: those of all its work. It is a `Formula`."""

    work: tuple[Work, ...]

    def __call__(self, q: pd.DataFrame, rules: MaterialRules) -> pd.Series[float]:
        first, *more = (one(q, rules) for one in self.work)
        return sum(more, start=first)


def takes_time(rate: str) -> bool:
    """Whether a rate is the hours that one takes, rather than what is done in an hour."""
    return rate.endswith("_h") and "_per_" not in rate


Kind = Literal["material", "labour", "plant", "service"]
#: what an item's work calls a caution for (their texts: geoturf/materials/cautions.py)
Hazard = Literal["lines", "irrigation", "drainage", "dust", "fumes", "falls"]
Dimension = tuple[int, int, int]

UNITS = ("m2", "m3", "m", "kg", "h", "each")  # of net quantities


@dataclass(
    frozen=True,
    slots=True,
    kw_only=True,
)
class Item:
    """An item whole: nothing about it stands anywhere else, and no field has a default."""

    key: str
    kind: Kind
    pay: str  # the pay item that it is paid under
    section: str  # MasterFormat number, of data/masterformat.csv
    title: str
    unit: str  # of its net quantity, SI: m2, m3, m, kg, h, each
    shown: tuple[str, str]  # the units it is shown in, of bids in "us" and in "metric" units
    net: Formula  # each area's net quantity
    package: str  # the word for what is bought; "" where it is bought by measure
    size: Setting  # net units a package or step that is paid for
    allowance: Setting  # bought over net, as a fraction
    cost: str  # key of its unit price in [price.costs]; "" where its product is priced
    price: str | None  # that unit price where the bid gives none; None: then it costs nothing
    priced: str  # what is paid for, in words
    rate: str  # the field of `Rates` that its hours are reckoned by; "" where it takes none itself
    work: tuple[str, ...]  # tasks done for it, which go when nothing is left that they are done for
    held_by: tuple[str, ...]  # what it cannot be without: leaves the bid with it, and never alone
    goes_with: tuple[str, ...]  # what else leaves the bid with it
    cautions: tuple[Hazard, ...]
    basis: str  # its formula in words

    @property
    def us(self) -> str:
        """The unit it is shown in by bids in US units."""
        return self.shown[0]

    @property
    def metric(self) -> str:
        """The unit it is shown in by bids in metric units."""
        return self.shown[1]

    def allowance_rule(self, rules: MaterialRules) -> str:
        """The rule of the takeoff that its allowance is; "" where none is."""
        asked = _Asked(rules)
        self.allowance(asked)  # type: ignore[arg-type]  # stands in for the rules it notes
        return next(iter(asked.names), "")

    @property
    def dimension(self) -> Dimension | None:
        """(length, mass, time) exponents of its net quantity; None for counted things."""
        return _dimension(self.unit)


class _Asked:
    """Rules of the takeoff that note which of them are asked for."""

    def __init__(self, rules: MaterialRules):
        self.rules, self.names = rules, list[str]()

    def __getattr__(self, name: str) -> float:
        self.names.append(name)
        value: float = getattr(self.rules, name)
        return value


def _dimension(unit: str) -> Dimension | None:
    if unit == "each":
        return None
    return units.unit_factor(unit)[1]


@dataclass(
    frozen=True,
    slots=True,
    kw_only=True,
)
class PayItem:
    """What a client pays for by the unit, all work and material for it in. Its quantity is measured
    on the ground, not by what is bought."""

    key: str
    section: str
    title: str
    unit: str  # SI: m2, m3, m, each
    shown: tuple[str, str]  # the units it is shown in, of bids in "us" and in "metric" units
    quantity: Measure  # of each area's measures and net quantities


def registry(records: Iterable[Item], pay_items: Iterable[PayItem]) -> dict[str, Item]:
    """The records by key, in their order. Raises `ValueError` for one that is not whole."""
    paid = {one.key for one in pay_items}
    items: dict[str, Item] = {}
    for item in records:
        if item.key in items:
            raise ValueError(f"item '{item.key}' is there twice")
        if item.pay not in paid:
            raise ValueError(f"item '{item.key}': '{item.pay}' is no pay item")
        items[item.key] = item
    for item in items.values():
        if fault := _fault(item, items):
            raise ValueError(f"item '{item.key}': {fault}")
    return items


def _fault(item: Item, items: dict[str, Item]) -> str:
    """What a record lacks; "" where it is whole."""
    sections = {row["value"] for row in data.rows_of("masterformat")}
    others = (*item.work, *item.held_by, *item.goes_with)
    unknown = [key for key in others if key not in items]
    idle = [key for key in item.work if key in items and items[key].kind != "labour"]
    strange = [hazard for hazard in item.cautions if hazard not in get_args(Hazard)]
    same_cost = {(one.price, one.priced) for one in items.values() if one.cost == item.cost}
    if not (item.title and item.basis):
        return "give it a title and a basis"
    if item.unit not in UNITS:
        return f"its unit is one of {', '.join(UNITS)}, not '{item.unit}'"
    if any(_dimension(unit) != item.dimension for unit in item.shown):
        return f"{' or '.join(item.shown)} does not measure what '{item.unit}' does"
    if item.section not in sections:
        return f"section '{item.section}' is not in data/masterformat.csv"
    if unknown:
        return f"{unknown[0]!r}, which goes with it, is no item"
    if idle:
        return f"{idle[0]!r} is no task of labour"
    if strange:
        return f"no caution is for {strange[0]!r}"
    if item.kind == "labour" and not item.rate:
        return "labour needs a production rate"
    if bool(item.cost) != bool(item.priced):
        return "a unit cost needs a key and words for what is paid for"
    if item.cost and len(same_cost) > 1:
        return f"another item has the unit cost '{item.cost}' with another price or other words"
    if item.price:
        return misfit(item.cost, units.read_money(item.price), items.values())
    return ""


def misfit(cost: str, money: units.Money, items: Iterable[Item]) -> str:
    """Why a unit cost is not per anything its item is bought by; "" where it fits."""
    words, dimensions = _bought_by([item for item in items if item.cost == cost])
    whole_day = money.dimension == (0, 0, 1) and money.si > 1  # a crew's or hire day: not 24 hours
    if money.unit in words or (money.dimension in dimensions and not whole_day):
        return ""
    measures = {
        (2, 0, 0): "/ft^2",
        (3, 0, 0): "/yd^3",
        (1, 0, 0): "/ft",
        (0, 1, 0): "/ton",
        (0, 0, 1): "/h",
    }
    endings = [f"/{min(words)}"] if words else []
    endings += [measures[dimension] for dimension in sorted(dimensions)]
    ways = [f'"{money.amount} {money.currency}{ending}"' for ending in endings]
    return f"'{money}' does not fit; it is priced like {' or '.join(ways) or str(money.amount)}"


def _bought_by(items: list[Item]) -> tuple[set[str], set[Dimension]]:
    """Purchase words and dimensions that the unit cost of these may be per."""
    words = {item.package for item in items if item.package}
    if any(item.unit == "each" and item.package != "box" for item in items):
        words.add("each")
    return words, {item.dimension for item in items if item.dimension is not None}
