"""Columns of the input that a bid keeps: names that a table of the report has already are
refused."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from functools import cache

from geoturf import data, units
from geoturf.rules.layer import Layer

_TABLES = ("areas", "sites")
_GEOPACKAGE = {"fid", "geom", "geometry"}  # columns of any layer of one


def clashes(of_bid: Sequence[str], layers: Iterable[Layer]) -> list[str]:
    """What is wrong with the names that are kept, a line each."""
    given = [("keep", of_bid)]
    given += [(f"layers#{k + 1}.keep", one.keep or ()) for k, one in enumerate(layers)]
    wrong = [f"{key}: {fault}" for key, names in given for fault in _faults(names)]
    first: dict[str, str] = {}
    for key, names in given:
        for name in names:
            other = first.setdefault(name.casefold(), name)
            if other != name:
                same = f"'{name}' and '{other}' differ in case alone, which no GIS tells apart"
                wrong.append(f"{key}: {same}; spell both alike")
    return wrong


def _faults(names: Sequence[str]) -> list[str]:
    out = []
    for name in names:
        if not name.strip():
            out.append("a column without a name")
        elif name.casefold() in _taken():
            rename = "name it otherwise in the file, or leave it out"
            out.append(f"'{name}' is a column of the report already; {rename}")
    out += [f"'{name}' is named twice" for name in dict.fromkeys(names) if names.count(name) > 1]
    return out


@cache
def _taken() -> frozenset[str]:
    """Names of the columns of the report's tables, in both systems of units, and without one."""
    names = set(_GEOPACKAGE)
    for row in data.rows_of("columns"):
        if row["file"] in _TABLES:
            shown = units.SHOWN.get(row["quantity"], {})
            names |= {row["column"], *(f"{row['column']}_{one.suffix}" for one in shown.values())}
    return frozenset(name.casefold() for name in names)
