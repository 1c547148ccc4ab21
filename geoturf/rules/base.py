"""What a rule is: a named, typed value with a default, a range and a source.

A rules class is a frozen pydantic model; it refuses unknown keys and values that do not fit. A field named
``end_allowance_m`` is written ``end_allowance = "3 in"`` in a bid file and is a float of metres in Python: the suffix tells
the unit, the type tells the reader.
"""

from __future__ import annotations

import re
from typing import Annotated, Any

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field

from geoturf import units

_SUFFIX = re.compile(r"_(?:kg_per_m[23]|kg_per_m|m2_per_h|m3_per_h|m_per_h|m2_per_m3|per_m2|m2|m3|m|kg|h)$")


def key_of(name: str) -> str:
    """The bid-file key of a field: its name without the SI suffix (``end_allowance_m`` -> ``end_allowance``)."""
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


def rule(default: Any, what: str, *, low: Any = None, high: Any = None, source: str = ASSUMED) -> Any:
    """A field of a rules class: its default as it would be written in a bid file, what it is, the usual range and the
    source. Values outside ``low`` .. ``high`` are taken, and noted by `geoturf.bid.unusual`."""
    extra = {"default": default, "low": low, "high": high, "source": source}
    return Field(default=default, description=what, json_schema_extra=extra)
