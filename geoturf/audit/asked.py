"""Settings in force against the bid file: every number and price that it states is the one that was
reckoned with."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from decimal import Decimal
from typing import Any

from geoturf.audit.factors import FOOT, OUNCE, POUND, UNITS, YARD
from geoturf.audit.folder import Folder
from geoturf.audit.told import Told, first_wrong

_MONEY = re.compile(r"\s*([0-9][0-9,]*(?:\.[0-9]+)?)\s*([A-Z]{3})?\s*(?:/\s*(\S.*?))?\s*")
_MEASURE = re.compile(r"\s*(-?[0-9]+(?:\.[0-9]+)?)\s*(\S*)\s*")
_SIZES = UNITS | {
    "": 1.0,
    "%": 0.01,
    "in": FOOT / 12,
    "yd": YARD,
    "mm": 0.001,
    "cm": 1e-2,
    "oz/yd^2": OUNCE / YARD**2,
    "lb/ft^2": POUND / FOOT**2,
    "ft^2/h": FOOT**2,
    "yd^3/h": YARD**3,
    "ft/h": FOOT,
    "kg/m^2": 1.0,
}

_Pair = tuple[str, Any, Any]


def promise(folder: Folder, bid: Mapping[str, Any]) -> Told:
    """``bid``: the bid file as TOML reads it."""
    wrong = []
    count = 0
    for name, stated, used in _pairs("", bid, folder.settings):
        same = _same(stated, used)
        count += same is not None
        if same is False:
            shown = used
            if isinstance(used, dict):
                shown = f"{used['amount']} a {used['unit']}"
            wrong.append(f"{name} is {stated} in the bid, {shown} in run.json")
    return first_wrong("settings", "numbers of the bid file", wrong, count)


def _pairs(name: str, stated: Any, used: Any) -> Iterator[_Pair]:
    if isinstance(stated, Mapping) and isinstance(used, Mapping) and "amount" not in used:
        for key in stated.keys() & used.keys():
            yield from _pairs(f"{name}.{key}".lstrip("."), stated[key], used[key])
    elif isinstance(stated, list) and isinstance(used, list) and len(stated) == len(used):
        for k, (one, other) in enumerate(zip(stated, used, strict=True)):
            alike = next((own for own in used if _same(one, own)), other)  # some are sorted
            yield from _pairs(f"{name}[{k}]", one, alike)
    else:
        yield name, stated, used


def _same(stated: Any, used: Any) -> bool | None:
    """None where it is neither a number nor a price, or of a unit that is not known here."""
    if isinstance(stated, bool) or isinstance(used, bool):
        if isinstance(stated, bool) and isinstance(used, bool):
            return stated is used
        return None
    if isinstance(used, Mapping) and isinstance(stated, str):
        return _same_money(stated, used)
    if not isinstance(used, int | float):
        return None
    if isinstance(stated, int | float):
        return abs(stated - used) <= 1e-9 * abs(used) + 1e-12
    found = _MEASURE.fullmatch(stated) if isinstance(stated, str) else None
    size = _SIZES.get(found.group(2)) if found else None
    if found is None or size is None:
        return None
    own = float(found.group(1)) * size
    return abs(own - used) <= 1e-6 * abs(used) + 1e-12


def _same_money(stated: str, used: Mapping[str, Any]) -> bool | None:
    found = _MONEY.fullmatch(stated)
    if found is None or "amount" not in used:
        return None
    return Decimal(found.group(1).replace(",", "")) == Decimal(used["amount"])
