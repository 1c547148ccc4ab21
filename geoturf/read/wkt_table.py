"""A CSV with a column of geometry as well-known text (WKT, OGC 06-103r4), as spreadsheets and
databases write them. Every other column is text."""

from __future__ import annotations

import csv
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import pyarrow as pa
import shapely

from geoturf.read.item import Item
from geoturf.read.loaded import Loaded, looked_at

_NAMES = ("wkt", "geometry", "geom", "the_geom", "shape", "geo")
_LONGEST = 1 << 27  # letters of a cell


@dataclass(frozen=True)
class Table:
    """``columns``: all but that of the geometry, ``rows`` of their texts; ``shapes``: texts of the
    geometry."""

    columns: tuple[str, ...]
    rows: list[tuple[str, ...]]
    shapes: list[str]


def read(item: Item) -> Table:
    """Raises ValueError, in words, for a file that is no such table."""
    before = csv.field_size_limit(_LONGEST)
    try:
        with item.path.open(encoding="utf-8-sig", newline="") as file:
            head = file.read(1 << 16)
            file.seek(0)
            return _table(list(csv.reader(file, delimiter=_delimiter(head))))
    except UnicodeDecodeError:
        raise ValueError("its text is not UTF-8; save it as CSV UTF-8") from None
    except csv.Error as error:
        raise ValueError(f"it is no table ({error})") from None
    finally:
        csv.field_size_limit(before)


def _delimiter(head: str) -> str:
    """What parts the names of the first line."""
    first = head.split("\n", 1)[0]
    return max(",;\t", key=first.count)


def _table(lines: list[list[str]]) -> Table:
    lines = [line for line in lines if line]
    if not lines:
        raise ValueError("it is empty")
    names = [name.strip() for name in lines[0]]
    at = next((k for name in _NAMES for k, own in enumerate(names) if own.lower() == name), None)
    if at is None:
        known = ", ".join(_NAMES)
        raise ValueError(f"it has no column of geometry as well-known text ({known})")
    if len(set(names)) < len(names):
        raise ValueError("two of its columns have one name")
    body = [[*line, *[""] * (len(names) - len(line))][: len(names)] for line in lines[1:]]
    columns = tuple(name for k, name in enumerate(names) if k != at)
    rows = [tuple(cell for k, cell in enumerate(line) if k != at) for line in body]
    return Table(columns, rows, [line[at].strip() for line in body])


def load(item: Item, keep: Callable[[Sequence[str]], list[str]]) -> Loaded:
    """The table with its geometry; a cell that is no WKT is named."""
    table = read(item)
    wanted = keep(table.columns)
    places = [table.columns.index(name) for name in wanted]
    cells = {
        name: pa.array([row[place] or None for row in table.rows], pa.string())
        for name, place in zip(wanted, places, strict=True)
    }
    shapes, bad = _shapes(table.shapes)
    numbers = np.arange(len(table.rows))
    return Loaded(numbers, *looked_at(shapes, bad), table.columns, pa.table(cells), None)


def _shapes(texts: list[str]) -> tuple[np.ndarray, dict[int, str]]:
    """Geometry of each text, None where it is empty or no WKT, and why."""
    plain = [
        text.rpartition(";")[2] if text.upper().startswith("SRID=") else text for text in texts
    ]
    shapes = shapely.from_wkt(
        np.array([text or None for text in plain], object), on_invalid="ignore"
    )
    lost = np.flatnonzero(shapely.is_missing(shapes))
    bad = {
        int(row): "its geometry is no well-known text that can be read"
        for row in lost
        if plain[row]
    }
    return shapes, bad
