"""What does not fit in a bid file: one line a fault, naming key, fault and mend."""

from __future__ import annotations

import types
from collections.abc import Callable, Iterator
from typing import Any, Union, get_args, get_origin

from pydantic import BaseModel, ValidationError

from geoturf.bid import listing
from geoturf.model import Finding
from geoturf.rules.layer import nearest
from geoturf.units import Money, foreign

OWN = ("folder", "looked", "given")  # set by geoturf, never by a bid file
_FRIENDLY = {
    "date": "the date that papers bear stands in [terms]",
    "owner": "whom a bid is for stands in [client]; a site's owner is a column of its layer",
    "customer": "whom a bid is for stands in [client]",
    "company": "who bids stands in [bidder]",
    "contractor": "who bids stands in [bidder]",
    "license": "it is spelt licence, in [bidder]",
}
_LONG = 40  # letters of a value that a message repeats
_UNKNOWN, _MISSING, _BAD = (
    "extra_forbidden",
    "missing",
    "",
)  # pydantic's types of a fault, and all others


def as_findings(error: ValidationError, model: type[BaseModel], file: str) -> list[Finding]:
    """Every fault pydantic found, in our words; several readings of one value (a number, or "free")
    become one line."""
    by_key: dict[tuple[str, str], list[Any]] = {}
    for fault in error.errors():
        key = _shown(_path(fault["loc"], model))
        kind = _BAD
        if fault["type"] in (_UNKNOWN, _MISSING):
            kind = fault["type"]
        by_key.setdefault((key, kind), []).append(fault)
    told: list[Finding] = []
    for (key, kind), group in by_key.items():
        told += _findings(key, kind, group, model, file)
    return told


def _findings(
    key: str, kind: str, group: list[Any], model: type[BaseModel], file: str
) -> list[Finding]:
    """What is told of a key's faults of one kind."""
    path = _path(group[0]["loc"], model)
    last = path[-1] if path else ""
    table = _model_at(path[:-1], model)
    fields = {name: info for name, info in _fields(table).items() if name not in OWN}
    if kind == _UNKNOWN:
        message = f"key '{key}' is not known{_hint(last, fields, model)}"
        return [Finding("error", "unknown-key", message, file=file)]
    if kind == _MISSING:
        what = ""
        if last in fields:
            what = fields[last].description
        message = f"key '{key}' is needed: {what}" if what else f"key '{key}' is needed"
        return [Finding("error", "missing-key", message, file=file)]
    messages = _readings(key, last, group)
    return [Finding("error", "bad-value", message, file=file) for message in messages]


def _readings(key: str, last: str, group: list[Any]) -> list[str]:
    """Why a value does not fit: a line for each thing told, or one that joins what each reading of
    it asks for. ``last``: the end of the key."""
    told = list(dict.fromkeys(_told(fault, last) for fault in group))
    if len(told) == 1:
        lines = told[0].split("\n")
        if key:
            return [f"{key}: {line}" for line in lines]
        return lines
    given = _given(group[0])
    ways = " or ".join(line.removeprefix(f"{given} ") for line in told)
    return [f"{key}: {given} {ways}"]


def _shown(path: list[str]) -> str:
    """``layers#2.role``: the role of the second of [[layers]]."""
    text = ""
    for part in path:
        text += f"#{int(part) + 1}" if part.isdigit() else f".{part}"
    return text.lstrip(".")


def _told(fault: Any, key: str) -> str:
    """A fault in our words."""
    kind = fault["type"]
    message = str(fault["msg"]).removeprefix("Value error, ")
    if kind == "value_error":
        text = _written(fault["input"], str)
        if len(text) > _LONG:
            return message.replace(text, _given(fault))
        return message
    if kind in ("model_type", "dict_type", "model_attributes_type"):
        return f"{_given(fault)} is not a table ([{key}], with keys below it)"
    if kind == "tuple_type":
        of_tables = isinstance(fault["input"], dict)
        if of_tables:
            return f"is a list of tables: write [[{key}]]"
        return f"{_given(fault)} is not a list"
    should = message.replace("Input should be", "should be").replace(
        "a valid string", 'text in quotes ("...")'
    )
    return f"{_given(fault)} {should.split(', unable')[0]}"


def _given(fault: Any) -> str:
    text = _written(fault["input"], repr)
    if len(text) <= _LONG:
        return text
    return f"{text[: _LONG - 3]}..."


def _written(value: Any, how: Callable[[Any], str]) -> str:
    try:
        return how(value)
    except ValueError:  # Python writes no whole number of thousands of digits
        return "a number of thousands of digits"


def _hint(key: str, fields: dict[str, Any], model: type[BaseModel]) -> str:
    """The nearest right name in the same table, or the table that has the key."""
    if key in _FRIENDLY:
        return f"; {_FRIENDLY[key]}"
    near = nearest(key, fields)
    homes = sorted(
        {row[0] or "the top of the file" for row in listing.rows(model) if row[1] == key}
    )
    if homes and key not in fields:
        return f"; it belongs in {' or '.join(f'[{h}]' if not h.startswith('the') else h for h in homes)}{near}"
    return near or (f"; known here: {', '.join(fields)}" if fields else "")


# --------------------------------------------------------------------------------- where a fault is


def _fields(model: type[BaseModel] | None) -> dict[str, Any]:
    if model:
        return {info.alias or name: info for name, info in model.model_fields.items()}
    return {}


def _path(loc: tuple[Any, ...], model: type[BaseModel]) -> list[str]:
    """The keys a person wrote: pydantic's marks of unions and validators taken out."""
    path: list[str] = []
    at: Any = model
    for part in loc:
        inner, known = _step(at, part)
        if known:
            path.append(str(part))
            at = inner
    return path


def _step(at: Any, part: Any) -> tuple[Any, bool]:
    """Where a key leads to from an annotation, and whether it is a key at all."""
    for option in _options(at):
        if isinstance(option, type) and issubclass(option, BaseModel):
            fields = _fields(option)
            if part in fields:
                return fields[part].annotation, True
            return None, isinstance(part, str) and not part.startswith("function-")
        origin = get_origin(option)
        args = get_args(option)
        if origin is dict and isinstance(part, str):
            return args[1], True
        if origin in (tuple, list) and isinstance(part, int):
            return args[0], True
    return at, False


def _options(at: Any) -> Iterator[Any]:
    yield from get_args(at) if get_origin(at) in (Union, types.UnionType) else (at,)


def _model_at(path: list[str], model: type[BaseModel]) -> type[BaseModel] | None:
    at: Any = model
    for part in path:
        at, _ = _step(at, int(part) if part.isdigit() else part)
    return next((o for o in _options(at) if isinstance(o, type) and issubclass(o, BaseModel)), None)


# ------------------------------------------------------------------------------------------- money


def foreign_prices(
    bid: BaseModel, currency: str, content: dict[str, Any], file: str
) -> list[Finding]:
    """Prices in another currency than the bid's: those given, one line each, and those that stand
    at their defaults. The one place that looks; what the water comparison takes from published
    tables, no bid has (`geoturf.water.lawns`)."""
    given: dict[str, Money | None] = {}
    defaults: dict[str, Money | None] = {}
    for path, money in _moneys(bid, ()):
        (given if _stands(content, path) else defaults)[_shown(list(path))] = money
    faults = foreign(given, currency)
    if keys := [key for key, money in defaults.items() if foreign({key: money}, currency)]:
        standing = "these prices stand at defaults in another currency, give each"
        faults.append(f"the bid is in {currency}; {standing}: {', '.join(keys)}")
    return [Finding("error", "wrong-currency", fault, file=file) for fault in faults]


def _moneys(value: Any, path: tuple[str, ...]) -> Iterator[tuple[tuple[str, ...], Money]]:
    if isinstance(value, Money):
        yield path, value
    elif isinstance(value, BaseModel):
        for name, info in type(value).model_fields.items():
            yield from _moneys(getattr(value, name), (*path, info.alias or name))
    elif isinstance(value, dict):
        for key, inner in value.items():
            yield from _moneys(inner, (*path, str(key)))
    elif isinstance(value, (tuple, list)):
        for k, inner in enumerate(value):
            yield from _moneys(inner, (*path, str(k)))


def _stands(content: Any, path: tuple[str, ...]) -> bool:
    """Whether the bid itself gives a value at this path."""
    for part in path:
        if isinstance(content, dict) and part in content:
            content = content[part]
        elif isinstance(content, list) and part.isdigit() and int(part) < len(content):
            content = content[int(part)]
        else:
            return False
    return True
