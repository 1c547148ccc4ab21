"""Names too long for a column or a label: shortened wherever they stand, and told once in full."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from geoturf.model import KEPT, Result

_MOST = 48  # letters that every place for a name has room for
_KEPT = 18
_NAMED = ("site", "area", "phase", "plan")


def shortened(data: Mapping[str, Any], result: Result) -> dict[str, Any]:
    """``data`` of a paper with long names of sites, areas, phases, house plans and what the bid
    keeps shortened and numbered, and those of them that it bears: ``long_names``, number and
    name."""
    number = {name: f"[{k}]" for k, name in enumerate(_long(result), 1)}
    short = {name: f"{number[name]} {name[:_KEPT].rstrip()}…" for name in number}
    # longest first: one may stand within another
    met: set[str] = set()
    told = _replaced(data, dict(sorted(short.items(), key=lambda one: -len(one[0]))), met)
    return {**told, "long_names": [[number[name], name] for name in number if name in met]}


def _long(result: Result) -> list[str]:
    """In the order met."""
    areas = result.all_ground.areas
    columns = [name for name in map(str, areas) if name in _NAMED or name.startswith(KEPT)]
    every = (areas[column].astype(str).unique() for column in columns)
    names = dict.fromkeys(name for some in every for name in some)
    return [name for name in names if len(name) > _MOST]


def _replaced(value: Any, short: Mapping[str, str], met: set[str]) -> Any:
    """``value`` with short names in all its texts; those that were there are added to ``met``."""
    if not short:
        return value
    if isinstance(value, str):
        for name in [name for name in short if name in value]:
            met.add(name)
            value = value.replace(name, short[name])
        return value
    if isinstance(value, Mapping):
        return {key: _replaced(one, short, met) for key, one in value.items()}
    if isinstance(value, (list, tuple)):
        return [_replaced(one, short, met) for one in value]
    return value
