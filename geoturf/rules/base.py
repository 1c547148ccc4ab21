"""What a rule is: a named, typed value with a default, a range and a source.

A rules class is a frozen pydantic model; it refuses unknown keys and values that do not fit. A
field named ``end_allowance_m`` is written ``end_allowance = "3 in"`` in a bid file and is a float
of metres in Python: the suffix tells the unit, the type tells the reader.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Annotated, Any

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, TypeAdapter, model_validator

from geoturf import units

_SUFFIX = re.compile(
    r"_(?:kg_per_m[23]|kg_per_m|m2_per_h|m3_per_h|m_per_h|m2_per_m3|per_m2|m2|m3|m|kg|h)$"
)


def key_of(name: str) -> str:
    """The bid-file key of a field: its name without the SI suffix (``end_allowance_m`` ->
    ``end_allowance``)."""
    return _SUFFIX.sub("", name)


def _reader(dimension: str) -> BeforeValidator:
    return BeforeValidator(lambda value: units.read(value, dimension))


Length = Annotated[float, _reader("length")]
Area = Annotated[float, _reader("area")]
Volume = Annotated[float, _reader("volume")]
Mass = Annotated[float, _reader("mass")]
ArealMass = Annotated[float, _reader("mass per area")]
Density = Annotated[float, _reader("density")]
AreaRate = Annotated[float, _reader("area per time")]
LengthRate = Annotated[float, _reader("length per time")]
VolumeRate = Annotated[float, _reader("volume per time")]
Coverage = Annotated[float, _reader("area per volume")]
Time = Annotated[float, _reader("time")]
Fraction = Annotated[float, _reader("fraction")]
Angle = Annotated[float, _reader("angle")]
Number = Annotated[float, _reader("number")]
Price = Annotated[units.Money, BeforeValidator(units.read_money)]

_ROUNDING = 1e-9  # a value written as its limit in another unit lies at the limit
COMMON = "common practice"
ASSUMED = "assumption: set your own"


class Rules(BaseModel):
    """Base of every rules class."""

    model_config = ConfigDict(
        frozen=True,
        extra="forbid",
        alias_generator=key_of,
        validate_default=True,
        arbitrary_types_allowed=True,
        allow_inf_nan=False,
    )

    @model_validator(mode="after")
    def _within_limits(self) -> Rules:
        """Refuses what lies outside ``least`` .. ``most`` of a rule, naming both."""
        wrong: list[str] = []
        for name, info in type(self).model_fields.items():
            wrong += _beyond(getattr(self, name), info)
        if wrong:
            raise ValueError("\n".join(wrong))
        return self


def read_limits(info: Any, ends: tuple[str, str]) -> tuple[Any, Any]:
    """SI values of two limits of a rule, which are written as a bid would write them; None where
    there is none."""
    extra = info.json_schema_extra if isinstance(info.json_schema_extra, dict) else {}
    lower, upper = (extra.get(end) for end in ends)
    if lower is None and upper is None:
        return None, None
    kind: Any = info.annotation
    if info.metadata:
        kind = Annotated[(kind, *info.metadata)]
    read = TypeAdapter(kind).validate_python
    least = None if lower is None else each(read(lower))[0]
    most = None if upper is None else each(read(upper))[0]
    return least, most


def outside(value: Any, least: Any, most: Any) -> bool:
    """Whether a value lies outside two limits, beyond rounding; a limit may be None."""
    too_low = least is not None and value < least * (1 - _ROUNDING)
    too_high = most is not None and value > most * (1 + _ROUNDING)
    return bool(too_low or too_high)


def range_in_words(least: str, most: str) -> str:
    """``5 mm to 12 in``, ``at least 5 mm``, ``at most 12 in``; nothing where both are empty."""
    if least and most:
        return f"{least} to {most}"
    if least:
        return f"at least {least}"
    if most:
        return f"at most {most}"
    return ""


def each(value: Any) -> tuple[Any, ...]:
    """The values of a rule that takes one or a list."""
    if isinstance(value, (tuple, list)):
        return tuple(value)
    return (value,)


def _beyond(value: Any, info: Any) -> Iterator[str]:
    """What is wrong with a value that a rule does not take."""
    least, most = read_limits(info, ("least", "most"))
    if any(outside(one, least, most) for one in each(value)):
        yield f"{info.alias} must be {taken(info.json_schema_extra)}"


def taken(extra: dict[str, Any]) -> str:
    """``5 mm to 12 in``: the values that a rule takes; empty where it takes any."""
    return range_in_words(extra.get("least") or "", extra.get("most") or "")


def rule(
    default: Any,
    what: str,
    *,
    low: Any = None,
    high: Any = None,
    source: str = ASSUMED,
    least: Any = None,
    most: Any = None,
) -> Any:
    """A field of a rules class: its default as it would be written in a bid file, what it is, the
    usual range and the source. Values outside ``low`` .. ``high`` are taken, and noted by
    `geoturf.bid.unusual`; those outside ``least`` .. ``most`` are refused."""
    extra = {
        "default": default,
        "low": low,
        "high": high,
        "source": source,
        "least": least,
        "most": most,
    }
    return Field(
        default=default,
        description=what,
        json_schema_extra=extra,
    )


class Break(Rules):
    """The unit price of an order of so much and more, for all of it."""

    at_least: Number = rule(
        ..., "quantity from which it holds, in what it is priced by: of tons for USD/ton", source=""
    )
    price: Price


def unfit_breaks(breaks: tuple[Break, ...], money: units.Money) -> str:
    """Why price breaks do not go with the unit price below them; "" where they do."""
    ends = [one.at_least for one in breaks]
    other = next((one.price for one in breaks if one.price.unit != money.unit), None)
    if ends != sorted(set(ends)) or not all(end > 0 for end in ends):
        return "each at_least must be more than the one before, the first more than 0"
    if other is not None:
        return f"'{other}' is not by the {money.unit}, as '{money}' is"
    return ""


def unfit_amount(money: units.Money) -> str:
    """Why money is no amount by itself; "" where it is."""
    if money.unit == "each":
        return ""
    return f"'{money}' is no amount, as \"350 USD\" is"
