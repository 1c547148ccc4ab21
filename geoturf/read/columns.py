"""From a file's columns to geoturf's: by name, by the bid's mapping, and by value."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
import pyarrow as pa

from geoturf.read import texts
from geoturf.read.part import Columns
from geoturf.read.say import Say, counted, listed
from geoturf.rules.layer import COLUMNS, Layer, nearest
from geoturf.units import FOOT_M

_CUT = 10  # letters that a shapefile keeps of a column's name


@dataclass(frozen=True)
class Mapping:
    """``found``: geoturf's name -> the file's; ``where``: name in the bid -> the file's. ``faults``: (code, message)."""

    found: dict[str, str]
    where: dict[str, str]
    faults: tuple[tuple[str, str], ...]
    doubts: tuple[tuple[str, str], ...]

    def needed(self) -> list[str]:
        return list(dict.fromkeys([*self.found.values(), *self.where.values()]))


def match(names: Sequence[str], layer: Layer) -> Mapping:
    """Which columns of a file are which. Says nothing: `complain` does."""
    found: dict[str, str] = {}
    faults: list[tuple[str, str]] = []
    doubts: list[tuple[str, str]] = []
    for ours, theirs in layer.columns.items():
        column = _find(theirs, names)
        if column is None:
            has = f"it has {listed(names, 12)}" if len(names) else "it has no columns at all (is its .dbf missing?)"
            faults.append(("unknown-column", f"{ours} = '{theirs}': no such column{nearest(theirs, names)}; {has}"))
        else:
            found[ours] = column
    taken = set(found.values())
    for ours in COLUMNS:
        if ours in found:
            continue
        same = [n for n in names if _same(n, ours) and n not in taken]
        if len({o for o in COLUMNS if same and _same(same[0], o)}) > 1:
            doubts.append(_ambiguous(same[0]))
            continue
        if same:
            found[ours] = next((n for n in same if n == ours), same[0])
        if len(same) > 1:
            doubts.append(("same-name", f"columns {listed(same)} are all called {ours}; {found[ours]} is used"))
    where = {}
    for name in layer.where:
        column = found.get(name) or _find(name, names)
        if column is None:
            faults.append(
                ("unknown-column", f"where: no column '{name}'{nearest(name, names)}; it has {listed(names, 12)}")
            )
        else:
            where[name] = column
    return Mapping(found, where, tuple(faults), tuple(dict.fromkeys(doubts)))


def _find(wanted: str, names: Sequence[str]) -> str | None:
    """A column by the name the bid gives it: as written, in other letters, or cut short by a shapefile."""
    if wanted in names:
        return wanted
    return next((n for n in names if _same(n, wanted)), None)


def _same(name: str, ours: str) -> bool:
    name, ours = name.strip().casefold(), ours.casefold()
    return name == ours or (len(name) == _CUT < len(ours) and ours.startswith(name))


def _ambiguous(name: str) -> tuple[str, str]:
    both = [o for o in COLUMNS if _same(name, o)]
    mend = " or ".join(f'{o} = "{name}"' for o in both)
    return (
        "cut-name",
        f"column '{name}' may be {' or '.join(both)}, cut short; it is not used: map it by columns ({mend})",
    )


def names(ids: np.ndarray) -> np.ndarray:
    """A file's feature numbers as (n,) str. None is like another, so none is looked for."""
    written = pa.array(ids).cast(pa.string()).to_pandas(deduplicate_objects=False)
    return np.asarray(written, object)


def numbers(column: pa.ChunkedArray, name: str, ids: np.ndarray, say: Say) -> np.ndarray:
    """A column as floats in the range geoturf knows for it; NaN where nothing is given, or nothing that can be (said)."""
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
    """Values (n,), NaN where they are no numbers; what is written; and a mask of what is given at all."""
    kind = column.type
    if pa.types.is_integer(kind) or pa.types.is_floating(kind) or pa.types.is_null(kind):
        values = column.cast(pa.float64()).to_pandas().to_numpy(float).copy()
        return values, values.copy(), ~np.isnan(values)
    written = texts.of_arrow(column).each()
    given = np.not_equal(written, "").astype(bool)
    values = pd.to_numeric(pd.Series(written).where(given), errors="coerce").to_numpy(float).copy()
    return values, written, given


def tidy(table: pa.Table, mapping: Mapping, ids: np.ndarray, say: Say) -> Columns:
    """geoturf's columns of a layer; elevations in metres."""
    columns = Columns(names(ids), {}, {})
    for ours, theirs in mapping.found.items():
        column = table.column(theirs)
        if COLUMNS[ours].kind == "text":
            columns.texts[ours] = texts.of_arrow(column)
        else:
            columns.numbers[ours] = numbers(column, ours, ids, say)
    feet = columns.numbers.pop("elevation_ft", None)
    if feet is not None:
        columns.fill("elevation_m", feet * FOOT_M)
    return columns


def chosen(table: pa.Table, mapping: Mapping, layer: Layer, n: int, say: Say) -> np.ndarray:
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
    return texts.number_text(value) if isinstance(value, float) else str(value).strip()
