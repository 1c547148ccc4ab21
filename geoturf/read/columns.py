"""From a file's columns to geoturf's: by name, by the bid's mapping, and by value."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
import pandas as pd
import pyarrow as pa

from geoturf.read import texts
from geoturf.read.part import Columns
from geoturf.read.say import Say, counted, listed
from geoturf.rules.layer import COLUMNS, Layer, nearest
from geoturf.units import FOOT_M, INCH_M

_CUT = 10  # letters that a shapefile keeps of a column's name


class Doubt(NamedTuple):
    """What is to be said of the columns: a finding's code and message."""

    code: str
    message: str


@dataclass(frozen=True)
class Mapping:
    """``found``: geoturf's name -> the file's; ``where`` and ``kept``: name in the bid -> the
    file's. With ``faults`` a layer is refused, with ``doubts`` it is read."""

    found: dict[str, str]
    where: dict[str, str]
    kept: dict[str, str]
    faults: tuple[Doubt, ...]
    doubts: tuple[Doubt, ...]

    def needed(self) -> list[str]:
        own = (self.found, self.where, self.kept)
        return list(dict.fromkeys(name for names in own for name in names.values()))


def match(names: Sequence[str], layer: Layer) -> Mapping:
    """Which columns of a file are which. What is to be said of them, it hands back unsaid."""
    found: dict[str, str] = {}
    faults: list[Doubt] = []
    doubts: list[Doubt] = []
    for ours, theirs in layer.columns.items():
        column = _find(theirs, names)
        if column is None:
            what = f"{ours} = '{theirs}': no such column{nearest(theirs, names)}"
            faults.append(Doubt("unknown-column", f"{what}; {_has(names)}"))
        else:
            found[ours] = column
    taken = set(found.values())
    for ours in COLUMNS:
        if ours in found:
            continue
        same = [n for n in names if _same(n, ours) and n not in taken]
        if not same:
            continue
        if len(_meanings(same[0])) > 1:
            doubts.append(_ambiguous(same[0]))
            continue
        found[ours] = ours if ours in same else same[0]
        if len(same) > 1:
            what = f"columns {listed(same)} are all called {ours}; {found[ours]} is used"
            doubts.append(Doubt("same-name", what))
    where = {}
    for name in layer.where:
        column = found.get(name) or _find(name, names)
        if column is None:
            what = f"where: no column '{name}'{nearest(name, names)}"
            faults.append(Doubt("unknown-column", f"{what}; it has {listed(names, 12)}"))
        else:
            where[name] = column
    kept, missing = _kept(names, layer)
    return Mapping(found, where, kept, (*faults, *missing), tuple(dict.fromkeys(doubts)))


def _kept(names: Sequence[str], layer: Layer) -> tuple[dict[str, str], list[Doubt]]:
    """The file's column of each that is kept, and a fault of each that it has not."""
    found = {name: _find(name, names) for name in layer.keep or ()}
    mend = "a layer without it says which it keeps, such as keep = []"
    lacking = [
        f"keep: no column '{name}'{nearest(name, names)}; {_has(names)}; {mend}"
        for name, column in found.items()
        if column is None
    ]
    faults = [Doubt("unknown-column", what) for what in lacking]
    return {name: column for name, column in found.items() if column is not None}, faults


def _has(names: Sequence[str]) -> str:
    if not names:
        return "it has no columns at all (is its .dbf missing?)"
    return f"it has {listed(names, 12)}"


def _find(wanted: str, names: Sequence[str]) -> str | None:
    """A column by the name the bid gives it: as written, in other letters, or cut short by a
    shapefile."""
    if wanted in names:
        return wanted
    return next((n for n in names if _same(n, wanted)), None)


def _same(name: str, ours: str) -> bool:
    name = name.strip().casefold()
    ours = ours.casefold()
    return name == ours or (len(name) == _CUT < len(ours) and ours.startswith(name))


def _meanings(name: str) -> list[str]:
    """geoturf's columns that a file's column may be."""
    return [ours for ours in COLUMNS if _same(name, ours)]


def _ambiguous(name: str) -> Doubt:
    both = _meanings(name)
    mend = " or ".join(f'{ours} = "{name}"' for ours in both)
    what = f"column '{name}' may be {' or '.join(both)}, cut short"
    return Doubt("cut-name", f"{what}; it is not used: map it by columns ({mend})")


def names(ids: np.ndarray) -> np.ndarray:
    """A file's feature numbers as (n,) str. None is like another, so none is looked for."""
    written = pa.array(ids).cast(pa.string()).to_pandas(deduplicate_objects=False)
    return np.asarray(written, object)


def numbers(column: pa.ChunkedArray, name: str, ids: np.ndarray, say: Say) -> np.ndarray:
    """A column as floats in the range geoturf knows for it; NaN where nothing is given, or nothing
    that can be (said)."""
    values, said, given = _as_floats(column)
    kind = COLUMNS[name]
    with np.errstate(invalid="ignore"):
        fits = (values >= kind.low) & (values <= kind.high)
    wrong = np.flatnonzero(given & ~fits)
    for row in wrong:
        what = f"{name} is '{said[row]}', which is not a number from {kind.low:g} to {kind.high:g}"
        say.warn("bad-number", f"{what}; taken as not given", feature=str(ids[row]))
    values[wrong] = np.nan
    if name.endswith("_deg"):
        np.remainder(values, 360.0, out=values)
    return values


def _as_floats(column: pa.ChunkedArray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Values (n,), NaN where they are no numbers; what is written; and a mask of what is given at
    all."""
    kind = column.type
    if pa.types.is_integer(kind) or pa.types.is_floating(kind) or pa.types.is_null(kind):
        values = column.cast(pa.float64()).to_pandas().to_numpy(float).copy()
        return values, values.copy(), ~np.isnan(values)
    written = texts.of_arrow(column).each()
    given = np.not_equal(written, "").astype(bool)
    values = pd.to_numeric(pd.Series(written).where(given), errors="coerce").to_numpy(float).copy()
    return values, written, given


#: columns in other units: their name, that of the column in metres, and metres a unit
_IN_METRES = (
    ("elevation_ft", "elevation_m", FOOT_M),
    ("dig_depth_in", "dig_depth_m", INCH_M),
    ("base_depth_in", "base_depth_m", INCH_M),
)


def tidy(table: pa.Table, mapping: Mapping, ids: np.ndarray, say: Say) -> Columns:
    """geoturf's columns of a layer; heights and depths in metres."""
    columns = Columns(names(ids), {}, {})
    for ours, theirs in mapping.found.items():
        column = table.column(theirs)
        if COLUMNS[ours].kind == "text":
            columns.texts[ours] = texts.of_arrow(column)
        else:
            columns.numbers[ours] = numbers(column, ours, ids, say)
    for name, theirs in mapping.kept.items():
        columns.kept[name] = texts.of_arrow(table.column(theirs))
    for name, metres, unit_m in _IN_METRES:
        given = columns.numbers.pop(name, None)
        if given is not None:
            columns.fill(metres, given * unit_m)
    return columns


def where_kept(table: pa.Table, mapping: Mapping, layer: Layer, n: int, say: Say) -> np.ndarray:
    """Mask of the ``n`` features: those that the layer's ``where`` keeps."""
    keep = np.ones(n, bool)
    for name, value in layer.where.items():
        keep &= texts.of_arrow(table.column(mapping.where[name])).are(_value_text(value))
    if layer.where and not keep.any():
        said = ", ".join(f"{k} = {v!r}" for k, v in layer.where.items())
        say.warn("none-chosen", f"none of its {counted(n, 'feature')} has {said}")
    return keep


def _value_text(value: str | float | bool) -> str:
    """A value of the bid's ``where`` as `texts.of_arrow` writes it."""
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, float):
        return texts.number_text(value)
    return str(value).strip()
