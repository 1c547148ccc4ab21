"""Rules of how sure a price is: ranges of what it rests on."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Literal

from pydantic import ValidationError, field_validator

from geoturf.rules.base import Fraction, Price, Rules, key_of, rule
from geoturf.rules.items import ITEMS
from geoturf.rules.materials import Rates
from geoturf.rules.offer import OWN
from geoturf.units import Money

Ends = tuple[Any, ...]
_PAIR = "give [low, high], or [low, likely, high], each at least the one before"


class Ranges(Rules):
    """What prices, rates and allowances may come to: [low, high] about the bid's own value, or
    [low, likely, high]."""

    costs: dict[str, tuple[Price, ...]] = rule({}, "of unit costs, by item", source=OWN)
    turf: dict[str, tuple[Price, ...]] = rule({}, "of prices of turf, by product", source=OWN)
    rates: dict[str, Ends] = rule({}, "of production rates", source=OWN)
    allowances: dict[str, tuple[Fraction, ...]] = rule(
        {}, "of what is bought over net, by item; of turf, over the cut plan", source=OWN
    )
    build_up: dict[Literal["waste", "sales_tax"], tuple[Fraction, ...]] = rule(
        {}, "of rates of the build-up", source=OWN
    )
    confidence: Fraction = rule(
        "80 %",
        "chance that cost shall stay within what is carried for it",
        least="1 %",
        most="99 %",
    )
    draws: int = rule(
        10_000,
        "how often all are drawn",
        least=100,
        most=1_000_000,
        source="",
    )
    seed: int = rule(1, "of the random numbers: the same seed, the same draws", source="", least=0)

    @field_validator("costs", "turf", "allowances", "build_up")
    @classmethod
    def _rise(cls, ranges: dict[str, Ends]) -> dict[str, Ends]:
        for key, ends in ranges.items():
            if fault := _unfit(ends):
                raise ValueError(f"{key}: {fault}")
        return ranges

    @field_validator("allowances")
    @classmethod
    def _are_bought(cls, ranges: dict[str, Ends]) -> dict[str, Ends]:
        strange = [key for key in ranges if key not in ITEMS or ITEMS[key].kind != "material"]
        if strange:
            bought = ", ".join(key for key, item in ITEMS.items() if item.kind == "material")
            raise ValueError(f"'{strange[0]}' is no material; materials are {bought}")
        return ranges

    @field_validator("rates")
    @classmethod
    def _are_rates(cls, ranges: dict[str, Ends]) -> dict[str, Ends]:
        read = {key: tuple(_rate(key, end) for end in ends) for key, ends in ranges.items()}
        return cls._rise(read)

    def any_given(self) -> bool:
        return any((self.costs, self.turf, self.rates, self.allowances, self.build_up))


def _rate(key: str, value: object) -> float:
    """A production rate in SI."""
    if isinstance(value, float):
        return value  # read before
    try:
        return float(getattr(Rates.model_validate({key: value}), rate_field(key)))
    except (ValidationError, KeyError):
        known = ", ".join(map(key_of, Rates.model_fields))
        raise ValueError(f"{key}: {value!r} does not fit; rates are {known}") from None


def rate_field(key: str) -> str:
    """The field of `Rates` that a bid writes as ``key``. Raises `KeyError`."""
    return {key_of(name): name for name in Rates.model_fields}[key]


def _unfit(ends: Ends) -> str:
    """Why a range is none; "" where it is."""
    moneys = [end for end in ends if isinstance(end, Money)]
    if len({(money.currency, money.unit) for money in moneys}) > 1:
        return "its ends are not in one unit"
    sizes = [number(end) for end in ends]
    if len(ends) in (2, 3) and sizes == sorted(sizes):
        return ""
    return _PAIR


def number(end: Any) -> float:
    """An end of a range as a number in its unit."""
    if isinstance(end, Money):
        return float(end.amount)
    return float(end)


def misfit_of(ends: Ends, own: Any) -> str:
    """Why a range does not fit the bid's ``own`` value; "" where it does."""
    if own is None:
        return "the bid has no such cost"
    if isinstance(own, Money) and own.unit != ends[0].unit:
        return f"is by the {ends[0].unit}, but the bid's own is {own}; give both by one unit"
    if len(ends) == 2 and not number(ends[0]) <= number(own) <= number(ends[1]):
        return (
            f"the bid's own value, {own}, lies outside it; mend either, or give [low, likely, high]"
        )
    return ""


def own_values(bid: Any) -> Mapping[str, Mapping[str, Any]]:
    """The bid's own value of all that may have a range, by table of `Ranges` and key."""
    rates = bid.materials.rates
    rules = bid.materials
    return {
        "costs": dict(bid.price.costs),
        "turf": {name: product.price for name, product in bid.products.items()},
        "rates": {key_of(name): getattr(rates, name) for name in Rates.model_fields},
        "allowances": {key: float(item.allowance(rules)) for key, item in ITEMS.items()},
        "build_up": {"waste": bid.price.waste, "sales_tax": bid.price.sales_tax},
    }
