"""The only place that knows feet, pounds or gallons.

`read("15 ft 6 in", "length")` gives metres; everything inside geoturf is SI (m, m2, m3, kg, h,
degrees, fractions). A quantity is a number (``3.5``), a fraction (``1/2``) or a mixed number
(``1 1/2``) and a unit; feet and inches may follow each other (``15 ft 6 in``). Nothing else is
taken: general unit libraries read ``1 1/2 in`` as half an inch.

Sources: NIST SP 811 (2008) Appendix B for the factors, from memory; checked against `pint` in
tests/test_units.py.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal, InvalidOperation
from fractions import Fraction
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Mapping

    import numpy as np
    from numpy.typing import ArrayLike, NDArray

FOOT_M = 0.3048
INCH_M = 0.0254
YARD_M = 0.9144
MILE_M = 5280 * FOOT_M
FT2_M2 = FOOT_M**2
YD3_M3 = YARD_M**3
GALLON_M3 = 231 * INCH_M**3
LITRE_M3 = 1e-3
GALLONS_IN_FT2_INCH = 144 / 231  # a square foot an inch deep, in cubic inches over a gallon's
HCF_M3 = 100 * FOOT_M**3
ACRE_M2 = 43560 * FT2_M2  # international foot; the survey acre is 4 ppm larger
ACRE_FT_M3 = ACRE_M2 * FOOT_M
POUND_KG = 0.45359237
OUNCE_KG = POUND_KG / 16
TON_KG = 2000 * POUND_KG
US_SURVEY_FOOT_M = 1200 / 3937

# name -> (factor to SI, (length, mass, time) exponents); h is the unit of time here
_UNITS: dict[str, tuple[float, tuple[int, int, int]]] = {}


def _unit(names: str, factor: float, length: int = 0, mass: int = 0, time: int = 0) -> None:
    for name in names.split():
        _UNITS[name] = (factor, (length, mass, time))


_unit("m metre metres meter meters", 1, 1)
_unit("mm", 1e-3, 1)
_unit("cm", 1e-2, 1)
_unit("km", 1e3, 1)
_unit("in inch inches", INCH_M, 1)
_unit("ft foot feet", FOOT_M, 1)
_unit("yd yard yards", YARD_M, 1)
_unit("mi mile miles", MILE_M, 1)
_unit("acre acres ac", ACRE_M2, 2)
_unit("ha", 1e4, 2)
_unit("gal gallon gallons", GALLON_M3, 3)
_unit("hcf HCF ccf CCF", HCF_M3, 3)  # a hundred cubic feet; some offices bill it as 748 gal
_unit("acre_ft acre-ft acre-foot acre-feet af AF", ACRE_FT_M3, 3)
_unit("acre_in acre-in acre-inch acre-inches", ACRE_M2 * INCH_M, 3)
_unit("kgal Kgal KGAL", 1e3 * GALLON_M3, 3)
_unit("Mgal", 1e6 * GALLON_M3, 3)
_unit("cf CF", FOOT_M**3, 3)
_unit("kL kl", 1, 3)
_unit("ML megalitre megalitres megaliter megaliters", 1e3, 3)  # ml is no unit here
_unit("l L litre litres liter liters", LITRE_M3, 3)
_unit("fl_oz floz", GALLON_M3 / 128, 3)
_unit("lb lbs pound pounds", POUND_KG, 0, 1)
_unit("oz ounce ounces", OUNCE_KG, 0, 1)
_unit("ton tons", TON_KG, 0, 1)
_unit("t tonne tonnes", 1e3, 0, 1)
_unit("kg", 1, 0, 1)
_unit("g", 1e-3, 0, 1)
_unit("h hour hours hr", 1, 0, 0, 1)
_unit("min minute minutes", 1 / 60, 0, 0, 1)
_unit("day days d", 24, 0, 0, 1)
_unit("year years yr", 24 * 365.25, 0, 0, 1)


@dataclass(frozen=True)
class Shown:
    """A unit of the reports: ``suffix`` of a column, ``unit`` as written, ``factor`` from SI, usual
    ``decimals``."""

    suffix: str
    unit: str
    factor: float
    decimals: int


#: quantity -> the unit it is shown in, for bids in "us" and in "metric" units
SHOWN: dict[str, dict[str, Shown]] = {
    "area": {"us": Shown("ft2", "ft2", 1 / FT2_M2, 2), "metric": Shown("m2", "m2", 1.0, 3)},
    "length": {"us": Shown("ft", "ft", 1 / FOOT_M, 2), "metric": Shown("m", "m", 1.0, 3)},
    "mass": {"us": Shown("lb", "lb", 1 / POUND_KG, 0), "metric": Shown("kg", "kg", 1.0, 0)},
    "volume": {"us": Shown("gal", "gal", 1 / GALLON_M3, 0), "metric": Shown("m3", "m3", 1.0, 2)},
    "money per area": {
        "us": Shown("ft2", "money/ft2", FT2_M2, 2),
        "metric": Shown("m2", "money/m2", 1.0, 2),
    },
    "money per volume": {
        "us": Shown("acre_ft", "money/acre-ft", ACRE_FT_M3, 2),
        "metric": Shown("m3", "money/m3", 1.0, 2),
    },
}

#: dimension name -> (length, mass, time) exponents, and an example for messages
DIMENSIONS: dict[str, tuple[tuple[int, int, int], str]] = {
    "length": ((1, 0, 0), "15 ft"),
    "area": ((2, 0, 0), "300 ft^2"),
    "volume": ((3, 0, 0), "10 yd^3"),
    "mass": ((0, 1, 0), "50 lb"),
    "mass per area": ((-2, 1, 0), "60 oz/yd^2"),
    "mass per length": ((-1, 1, 0), "2 lb/ft"),
    "density": ((-3, 1, 0), "100 lb/ft^3"),
    "area per time": ((2, 0, -1), "200 ft^2/h"),
    "length per time": ((1, 0, -1), "60 ft/h"),
    "volume per time": ((3, 0, -1), "8 yd^3/h"),
    "area per volume": ((-1, 0, 0), "20 ft^2/gal"),
    "per length": ((-1, 0, 0), "1/ft"),
    "per area": ((-2, 0, 0), "1/ft^2"),
    "time": ((0, 0, 1), "8 h"),
    "time per area": ((-2, 0, 1), "1 h/100 ft^2"),
}

_NUMBER = r"(?:\d+(?:\.\d+)?|\.\d+)"
_QUANTITY = re.compile(
    rf"""\s*(?:(?P<whole>\d+)\s+(?P<num>\d+)/(?P<den>\d+)      # 1 1/2
          |(?P<num2>\d+)/(?P<den2>\d+)                         # 1/2
          |(?P<plain>{_NUMBER}))\s*(?P<unit>\S.*)?\s*""",
    re.VERBOSE,
)
_FEET_INCHES = re.compile(
    rf"\s*(?P<feet>\d+)\s*(?:ft|feet|foot|')"
    rf"\s*(?P<inches>{_NUMBER}|\d+\s+\d+/\d+|\d+/\d+)\s*(?:in|inch|inches|\")\s*"
)
_TERM = re.compile(r"(?P<name>[A-Za-z_\-]+?)\s*(?:\^?\s*(?P<power>[1-3]|[²³]))?")
_MAX_TEXT = 60


class UnitError(ValueError):
    """A value that is no quantity of the wanted dimension; the message says what would be."""


def _number(text: str) -> float:
    match = _QUANTITY.fullmatch(text)
    if match is None or match["unit"]:
        raise UnitError(f"'{text}' is not a number")
    return _value(match)


def _value(match: re.Match[str]) -> float:
    if match["plain"]:
        return float(match["plain"])
    numerator = match["num"] or match["num2"]
    denominator = match["den"] or match["den2"]
    if int(denominator) == 0:
        raise UnitError("a fraction over zero")
    return int(match["whole"] or 0) + int(numerator) / int(denominator)


def unit_factor(unit: str) -> tuple[float, tuple[int, int, int]]:
    """Factor to SI and dimension of a unit such as ``lb/ft^2``. Raises `UnitError` for a name that
    is not in the list."""
    factor = 1.0
    exponents = [0, 0, 0]
    for place, part in enumerate(unit.replace("per ", "/").split("/")):
        part = part.strip()
        if part == "1" and place == 0:
            continue
        sign = 1 if place == 0 else -1
        match = _TERM.fullmatch(part)
        if match is None or match["name"] not in _UNITS:
            raise UnitError(f"'{part or unit}' is no unit geoturf knows")
        base, dimension = _UNITS[match["name"]]
        power = sign * int({"²": "2", "³": "3"}.get(match["power"], match["power"]) or 1)
        factor *= base**power
        exponents = [e + d * power for e, d in zip(exponents, dimension, strict=True)]
    return factor, (exponents[0], exponents[1], exponents[2])


def factors(*names: str) -> dict[str, float]:
    """Units by name, each with its factor to SI."""
    return {name: unit_factor(name)[0] for name in names}


def _a(word: str) -> str:
    if word[0] in "aeiou":
        return f"an {word}"
    return f"a {word}"


def read(text: str | float | int, dimension: str) -> float:
    """The SI value of ``text``, which must be a finite quantity >= 0 of ``dimension`` (a key of
    `DIMENSIONS`, ``fraction``, ``angle`` or ``number``). Raises `UnitError` naming the fault and an
    example that would do."""
    if dimension in ("fraction", "angle", "number"):
        return _read_plain(text, dimension)
    exponents, example = DIMENSIONS[dimension]
    if not isinstance(text, str):
        raise UnitError(f'{text!r} has no unit; {_a(dimension)} is written like "{example}"')
    if len(text) > _MAX_TEXT:
        raise UnitError(f'too long for {_a(dimension)}; write it like "{example}"')
    feet = _FEET_INCHES.fullmatch(text)
    if feet and dimension == "length":
        return int(feet["feet"]) * FOOT_M + _number(feet["inches"]) * INCH_M
    match = _QUANTITY.fullmatch(text)
    if match is None or not match["unit"]:
        written = f'{_a(dimension)} is written like "{example}"'
        raise UnitError(f"'{text}' is not a number with a unit; {written}")
    unit = match["unit"].strip()
    unit = {"'": "ft", '"': "in"}.get(unit, unit)
    factor, found = unit_factor(unit)
    if found != exponents:
        raise UnitError(f"'{text}' is not {_a(dimension)}, which is written like \"{example}\"")
    value = _value(match) * factor
    if not math.isfinite(value):
        raise UnitError(f"'{text}' is too large")
    return value


def _read_plain(text: str | float | int, dimension: str) -> float:
    """Fractions ("5 %" or 0.05), angles ("45 deg" or 45) and bare numbers."""
    ending, scale, example = {
        "fraction": (("%",), 0.01, "5 %"),
        "angle": (("deg", "degrees", "°"), 1.0, "45 deg"),
        "number": ((), 1.0, "2.5"),
    }[dimension]
    if isinstance(text, bool):
        raise UnitError(f'{text!r} is not {_a(dimension)}, which is written like "{example}"')
    if isinstance(text, (int, float)):
        value = math.inf
        if abs(text) < 1e300:
            value = float(text)
    else:
        match = _QUANTITY.fullmatch(str(text)[:_MAX_TEXT])
        unit = ""
        if match:
            unit = (match["unit"] or "").strip()
        if match is None or (unit and unit not in ending):
            raise UnitError(f"'{text}' is not {_a(dimension)}, which is written like \"{example}\"")
        value = _value(match) * (scale if unit else 1.0)
    if not math.isfinite(value) or value < 0:
        raise UnitError(f"'{text}' is not a finite {dimension} of zero or more")
    return value


@dataclass(frozen=True, slots=True)
class Money:
    """An amount of money, perhaps per unit: ``2.10 USD/ft^2``. ``unit`` is the text after the
    slash, ``each`` if none.

    ``dimension`` and ``si`` are the unit's (None and 1.0 for counting words such as ``roll``,
    ``each``)."""

    amount: Decimal
    currency: str
    unit: str
    si: float
    dimension: tuple[int, int, int] | None

    def per_si(self) -> float:
        """Amount per SI unit (per m2, per m, per kg …), as a float for weighing one cost against
        another."""
        return float(self.amount) / self.si

    def __str__(self) -> str:
        return f"{self.amount} {self.currency}" + (f"/{self.unit}" if self.unit != "each" else "")


def foreign(prices: Mapping[str, Money | None], currency: str) -> list[str]:
    """A line for each of the prices, by name, that is in another currency than ``currency``:
    nothing is converted."""
    return [
        f"{name} is {price}, but the bid's currency is {currency}; give it in {currency}"
        for name, price in prices.items()
        if price is not None and price.currency != currency
    ]


_MONEY = re.compile(
    r"\s*(?P<amount>\d{1,12}(?:\.\d{1,6})?)\s*(?P<currency>[A-Z]{3})"
    r"\s*(?:(?:/|per )\s*(?P<unit>\S.*?))?\s*"
)
_COUNTED = re.compile(r"[a-z][a-z_ ]{0,20}")


def read_money(text: object) -> Money:
    """``"2.10 USD/ft^2"``, ``"85 USD/roll"`` or ``"40 USD"`` as `Money`. Raises `UnitError`."""
    match = _MONEY.fullmatch(text) if isinstance(text, str) and len(text) <= _MAX_TEXT else None
    if match is None:
        raise UnitError(f'{text!r} is not a price, which is written like "2.10 USD/ft^2"')
    try:
        amount = Decimal(match["amount"])
    except InvalidOperation as error:  # pragma: no cover - the pattern admits only digits
        raise UnitError(f"{text!r} is not a price") from error
    unit = match["unit"] or "each"
    try:
        factor, dimension = unit_factor(unit)
    except UnitError:
        if not _COUNTED.fullmatch(unit):
            raise
        return Money(amount, match["currency"], unit, 1.0, None)
    return Money(amount, match["currency"], unit, factor, dimension)


_POWER = re.compile(r"\b(ft|in|yd|m|mm)\^?([23])\b")


def powers(text: str) -> str:
    """``ft^2`` and ``ft2`` as readers know them: ft²."""
    return _POWER.sub(lambda found: found[1] + {"2": "²", "3": "³"}[found[2]], text)


def cents(amount: Decimal | float | int) -> Decimal:
    """Rounded to the cent, halves up, as an invoice is."""
    return Decimal(amount).quantize(Decimal("0.01"), rounding=ROUND_HALF_UP)


def cents_text(amount: Decimal | float | int) -> str:
    """`cents` as text, sooner: what has two decimals stays as it is, and a number that does not lie
    halfway between two cents, which only eighths do, is rounded alike by every rule."""
    if isinstance(amount, float):
        if math.isfinite(amount) and not (8 * amount).is_integer():
            return f"{amount:.2f}"
    elif (text := str(amount))[-3:-2] == ".":
        return text
    return str(cents(amount))


@dataclass(frozen=True, slots=True)
class System:
    """How quantities are told to a reader: the units of a bid (``us`` or ``metric``). Everything
    taken is SI."""

    name: str

    def _told(
        self, value: float, us: tuple[str, float], metric: tuple[str, float], digits: int
    ) -> str:
        word, size = us if self.name == "us" else metric
        return f"{value / size:,.{digits}f} {word}"

    def area(self, value_m2: float, digits: int = 1) -> str:
        """Square feet or metres."""
        return self._told(value_m2, ("ft2", FT2_M2), ("m2", 1.0), digits)

    def land(self, value_m2: float) -> str:
        """Acres or hectares."""
        return self._told(value_m2, ("acres", ACRE_M2), ("ha", 1e4), 1)

    def water(self, value_m3: float) -> str:
        """Gallons or cubic metres."""
        return self._told(value_m3, ("gal", GALLON_M3), ("m3", 1.0), 0)

    def length(self, value_m: float, digits: int = 1) -> str:
        """Feet or metres."""
        return self._told(value_m, ("ft", FOOT_M), ("m", 1.0), digits)

    def size(self, value_m: float) -> str:
        """Inches or millimetres."""
        return self._told(value_m, ("in", INCH_M), ("mm", 1e-3), 2 if self.name == "us" else 1)

    def tape(self, value_m: float, up: bool = False) -> str:
        """As read from a measuring tape: feet, inches and quarters (``12' 7 1/4"``) or millimetres;
        to the nearest, or ``up`` to the next where what is cut may not be short."""
        step = INCH_M / _QUARTERS if self.name == "us" else unit_factor("mm")[0]
        steps = round_up(value_m, step) if up else math.floor(abs(value_m) / step + 0.5)
        sign = "-" if value_m < 0 and steps else ""
        return sign + (_feet_inches(steps) if self.name == "us" else f"{steps} mm")

    def distance(self, value_m: float) -> str:
        """Miles or kilometres."""
        return self._told(value_m, ("miles", MILE_M), ("km", 1e3), 1)

    def money(self, price: Money) -> str:
        """A price as it stands, or for the metric unit of what it is for."""
        if self.name == "us" or price.dimension is None or price.unit in _METRIC_WORDS:
            return str(price)
        unit, factor = _metric(price.dimension, 1.0)
        return f"{price.per_si() * factor:,.2f} {price.currency}/{unit}"

    def like(self, value: float, example: str) -> str:
        """A value in the unit that ``example`` is written in, or in the metric one of its
        dimension. "" where it has no unit."""
        unit = example.lstrip("0123456789./ ")
        try:
            factor, dimension = unit_factor(unit)
        except UnitError:
            return ""
        if self.name != "us" and unit not in _METRIC_WORDS:
            unit, factor = _metric(dimension, value)
        return f"{value / factor:.4g} {unit}"


_INCHES, _QUARTERS = 12, 4  # in a foot, in an inch: as a crew's tape is marked


def _feet_inches(quarters: int) -> str:
    """Feet, inches and quarters of a whole number of quarter inches; feet are left out of less than
    one, inches of whole feet are not."""
    inches, rest = divmod(quarters, _QUARTERS)
    feet, inches = divmod(inches, _INCHES)
    part = Fraction(rest, _QUARTERS)
    words = [str(inches)] if inches or not part else []
    words += [str(part)] if part else []
    return (f"{feet}' " if feet else "") + " ".join(words) + '"'


US = System("us")
METRIC = System("metric")
SYSTEMS = {system.name: system for system in (US, METRIC)}
_METRIC_WORDS = ("m", "mm", "cm", "km", "m2", "ha", "m3", "l", "kg", "g", "t", "h", "min", "day")


def _metric(dimension: tuple[int, int, int], value: float) -> tuple[str, float]:
    """A metric unit of a dimension that suits a value, and its factor to SI."""
    if dimension == (1, 0, 0):
        if value < 1:
            return ("mm", 1e-3)
        return ("m", 1.0)
    names = zip(("m", "kg", "h"), dimension, strict=True)
    parts = [(name, power) for name, power in names if power]
    over = "*".join(_powered(name, power) for name, power in parts if power > 0)
    under = "".join("/" + _powered(name, -power) for name, power in parts if power < 0)
    return (over or "1") + under, 1.0


def _powered(name: str, power: int) -> str:
    if power == 1:
        return name
    return f"{name}{power}"


MILLIONTH = 1e-6  # of a step: what float arithmetic may have added to a whole number of steps


def round_down(value: float, step: float) -> int:
    """How many whole steps ``value`` holds; a millionth of a step short does not lose one."""
    return math.floor(value / step + MILLIONTH)


def round_up(value: float, step: float = 1.0) -> int:
    """How many whole steps cover ``value``; a millionth of a step over does not buy another one."""
    return max(0, math.ceil(value / step - MILLIONTH))


def whole_steps(values: ArrayLike, step: ArrayLike = 1.0) -> NDArray[np.float64]:
    """`round_up` of whole columns, as floats; the shape of ``values``."""
    import numpy as np  # units are read long before there is a column

    steps: NDArray[np.float64] = np.asarray(values, float) / np.asarray(step, float)
    up: NDArray[np.float64] = np.ceil(steps - MILLIONTH)
    return up.clip(min=0.0)


def is_whole(value: float, step: float = 1.0) -> bool:
    """Whether a value is a whole number of steps, to a millionth of one."""
    return abs(value / step - round(value / step)) < MILLIONTH
