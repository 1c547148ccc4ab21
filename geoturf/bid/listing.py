"""Every rule there is, as rows of text; and which values of a bid are unusual."""

from __future__ import annotations

import types
from collections.abc import Iterator
from typing import Any, Union, get_args, get_origin

from pydantic import BaseModel

from geoturf.model import Finding
from geoturf.rules.base import each, outside, range_in_words, read_limits, taken
from geoturf.units import SYSTEMS, US, System

Row = tuple[str, str, str, str, str, str, str]


def rows(model: type[BaseModel], section: str = "") -> list[Row]:
    """(section, key, default, low, high, source, what) of each rule of a class and of the classes
    in it. A section that may stand several times is written ``[layers]``, so that in brackets it
    reads ``[[layers]]``."""
    own = []
    inner = []
    for name, info in model.model_fields.items():
        key = info.alias or name
        found = _tables(info.annotation)
        if found is not None:
            nested, below = found
            name = ".".join(part for part in (section.strip("[]"), key, below.strip("[]")) if part)
            inner += rows(nested, f"[{name}]" if below == "[]" else name)
            continue
        extra = info.json_schema_extra if isinstance(info.json_schema_extra, dict) else {}
        default = "(needed)" if info.is_required() else toml(extra.get("default", info.default))
        low, high = (_text(extra.get(end)) for end in ("low", "high"))
        what = "; ".join(part for part in (info.description, taken(extra)) if part)
        own.append((section, key, default, low, high, str(extra.get("source", "")), what))
    return own + inner


def in_words(row: Row) -> str:
    """A rule as it would be written in a bid file, and below it what it is, its usual range and
    source."""
    section, key, default, low, high, source, what = row
    aside = "; ".join(
        part for part in (f"usual {low} to {high}" if low or high else "", source) if part
    )
    return f"[{section}] {key} = {default}\n    {what}" + (f" ({aside})" if aside else "")


def _tables(annotation: Any) -> tuple[type[BaseModel], str] | None:
    """The rules class that a field holds, and how a table of it is named below the field's key."""
    for option in (
        get_args(annotation)
        if get_origin(annotation) in (Union, types.UnionType)
        else (annotation,)
    ):
        if isinstance(option, type) and issubclass(option, BaseModel):
            return option, ""
        args = [a for a in get_args(option) if isinstance(a, type) and issubclass(a, BaseModel)]
        if args:
            return args[0], "<name>" if get_origin(option) is dict else "[]"
    return None


def toml(value: Any) -> str:
    """A default as it would be written in a bid file."""
    if value is None:
        return "(none)"
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, (list, tuple)):
        return f"[{', '.join(toml(v) for v in value)}]"
    if isinstance(value, dict):
        return f"{{{', '.join(f'{k} = {toml(v)}' for k, v in value.items())}}}"
    if isinstance(value, (int, float)):
        return repr(value)
    return f'"{"".join(_escaped(c) for c in str(value))}"'


def _escaped(letter: str) -> str:
    if letter in '\\"':
        return "\\" + letter
    if letter.isprintable():
        return letter
    return f"\\U{ord(letter):08x}"


def _text(value: Any) -> str:
    if value is None:
        return ""
    return str(value)


# ------------------------------------------------------------------------------------------ unusual


def unusual(bid: BaseModel) -> list[Finding]:
    """A note on each value outside the usual range of its rule, in the bid's units."""
    told = SYSTEMS[getattr(bid, "units", US.name)]
    return [
        Finding(
            "note", "unusual-value", f"{path} = {shown} is outside the usual {usual} ({source})"
        )
        for path, shown, usual, source in _outside(bid, "", told)
    ]


def _outside(value: Any, path: str, told: System) -> Iterator[tuple[str, str, str, str]]:
    if isinstance(value, dict):
        for key, inner in value.items():
            yield from _outside(inner, f"{path}.{key}", told)
    elif isinstance(value, (tuple, list)):
        for k, inner in enumerate(value):
            yield from _outside(inner, f"{path}.{k}", told)
    elif isinstance(value, BaseModel):
        for name, info in type(value).model_fields.items():
            key = f"{path}.{info.alias or name}".lstrip(".")
            yield from _outside(getattr(value, name), key, told)
            yield from _limits(getattr(value, name), info, key, told)


def _limits(value: Any, info: Any, key: str, told: System) -> Iterator[tuple[str, str, str, str]]:
    """The value against ``low`` and ``high`` of its rule, which are written as a bid would write
    them."""
    extra = info.json_schema_extra if isinstance(info.json_schema_extra, dict) else {}
    low = extra.get("low")
    high = extra.get("high")
    if value is None or (low is None and high is None):
        return
    least, most = read_limits(info, ("low", "high"))
    for one in each(value):
        if outside(one, least, most):
            shown = _as(one, high if low is None else low, told)
            usual = range_in_words(_end(low, least, told), _end(high, most, told))
            yield key, shown, usual, str(extra.get("source", ""))


def _end(written: Any, si: Any, told: System) -> str:
    """A limit as its rule writes it, or in metric units for a metric bid; "" where there is
    none."""
    if written is None:
        return ""
    if told is US:
        return str(written)
    return _as(si, written, told)


def _as(value: float, example: Any, told: System) -> str:
    """An SI value in the unit that the limit is written in, or in a metric one for a metric bid."""
    if isinstance(example, str) and example.endswith("%"):
        return f"{value * 100:.4g} %"
    return (told.like(value, example) if isinstance(example, str) else "") or f"{value:.4g}"
