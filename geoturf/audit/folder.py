"""A report folder as anybody who was sent it can read it: tables, settings, geometry."""

from __future__ import annotations

import csv
import json
import sqlite3
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from decimal import Decimal
from functools import cached_property
from itertools import compress, islice
from pathlib import Path
from threading import Lock
from typing import Any
from urllib.parse import quote

import numpy as np
import shapely
from numpy.typing import NDArray

from geoturf.audit.factors import ENDINGS
from geoturf.audit.told import Floats

Shapes = NDArray[np.object_]


class Unreadable(Exception):
    """A folder, a table or a file that cannot be read; says why."""


class Beyond(Unreadable):
    """What the audit does not reckon with; says why."""


def plain(text: str) -> str:
    """Text without the apostrophes that keep spreadsheets from taking it for a formula."""
    return text.replace("'", "")


@dataclass
class Table:
    """A CSV file, by its columns: `cells` of each, in `plain` text."""

    name: str
    columns: list[str]
    cells: list[list[str]]
    _numbers: dict[str, Floats] = field(default_factory=dict)
    _moneys: dict[str, list[Decimal]] = field(default_factory=dict)

    def __len__(self) -> int:
        return len(self.cells[0])

    def has(self, name: str) -> bool:
        return name in self.columns

    def text(self, name: str) -> list[str]:
        """Not to be changed: it is the table's own."""
        if name not in self.columns:
            raise Unreadable(f"{self.name} has no column {name}")
        return self.cells[self.columns.index(name)]

    def rows(self) -> list[dict[str, str]]:
        """For short tables."""
        return [dict(zip(self.columns, row, strict=True)) for row in zip(*self.cells, strict=True)]

    def only(self, keep: NDArray[np.bool_]) -> Table:
        mask = keep.tolist()
        return Table(
            self.name, self.columns, [list(compress(column, mask)) for column in self.cells]
        )

    def tells(self, base: str) -> bool:
        """Whether it has a measure, in some unit."""
        return any(base + ending in self.columns for ending in ENDINGS)

    def numbers(self, name: str) -> Floats:
        """NaN where nothing stands."""
        if name not in self._numbers:
            self._numbers[name] = _floats(self.text(name))
            self._numbers[name].flags.writeable = False  # others will ask for it
        return self._numbers[name]

    def si(self, base: str) -> Floats:
        """A measure in SI, whatever unit its column's name ends in."""
        name, size = self.measure(base)
        return self.numbers(name) * size

    def step(self, base: str) -> float:
        """The last decimal that a measure is written with, in SI."""
        name, size = self.measure(base)
        texts = self.text(name)
        return size * (10.0 ** -_decimals(texts[0]) if texts else 0.0)

    def measure(self, base: str) -> tuple[str, float]:
        """A measure's column and what its unit is in SI."""
        for ending, size in ENDINGS.items():
            if base + ending in self.columns:
                return base + ending, size
        raise Unreadable(f"{self.name} has no column {base}, in any unit")

    def money(self, name: str) -> list[Decimal]:
        """Not to be changed either."""
        if name not in self._moneys:
            self._moneys[name] = [_money(text) for text in self.text(name)]
        return self._moneys[name]


def _floats(texts: list[str]) -> Floats:
    try:
        return np.array([float(text) if text else np.nan for text in texts], float)
    except ValueError:
        return np.array([_number(text) for text in texts], float)


def _number(text: str) -> float:
    try:
        return float(text)
    except ValueError:
        return float("nan")


def _money(text: str) -> Decimal:
    try:
        value = Decimal(text or "0")
    except ArithmeticError:
        value = Decimal("NaN")
    return value


def _decimals(text: str) -> int:
    return len(text.partition(".")[2])


@dataclass
class Folder:
    """A report. ``run`` is its run.json."""

    path: Path
    run: dict[str, Any]
    _tables: dict[str, Table] = field(default_factory=dict)
    _reads: Lock = field(default_factory=Lock)  # one reader at a time reads a table for all

    @property
    def settings(self) -> dict[str, Any]:
        settings: dict[str, Any] = self.run["settings"]
        return settings

    @cached_property
    def findings(self) -> Table:
        return self.table("findings")

    def has(self, name: str) -> bool:
        return (self.path / f"{name}.csv").is_file()

    def table(self, name: str) -> Table:
        with self._reads:
            if name not in self._tables:
                self._tables[name] = _table(self.path / f"{name}.csv")
            return self._tables[name]

    @cached_property
    def areas(self) -> list[str]:
        """What each area is called."""
        table = self.table("areas")
        pairs = zip(table.text("site"), table.text("area"), strict=True)
        return [f"site {site}, area {area}" for site, area in pairs]

    @cached_property
    def laid(self) -> NDArray[np.bool_]:
        """Areas that turf is laid on: where water is compared it may be some alone, and the others
        have no edges told."""
        return np.isfinite(self.table("areas").si("edge_open"))

    @cached_property
    def placed(self) -> NDArray[np.bool_]:
        """Areas whose turf is laid, not estimated."""
        table = self.table("areas")
        how = table.text("turf") if table.has("turf") else [""] * len(table)
        laid: NDArray[np.bool_] = self.laid & np.array([one != "estimated" for one in how], bool)
        return laid

    @cached_property
    def layout(self) -> Layout:
        return Layout(self.path / "layout.gpkg")


def opened(path: Path) -> Folder:
    """Raises `Unreadable` where there is no report."""
    try:
        run = json.loads((path / "run.json").read_text(encoding="utf-8"))
    except (OSError, ValueError, RecursionError) as fault:
        raise Unreadable(f"{path} is no report of geoturf (run.json: {fault})") from None
    told = run if isinstance(run, dict) else {}
    if not isinstance(told.get("settings"), dict) or not isinstance(told.get("inputs"), list):
        raise Unreadable(f"{path} is no report of geoturf: its run.json tells no settings")
    return Folder(path, run)


def _table(path: Path) -> Table:
    try:
        with path.open(encoding="utf-8-sig", newline="") as file:
            reader = csv.reader(file)
            head = next(reader, [])
            cells: list[list[str]] = [[] for _ in head]
            while block := list(islice(reader, _BLOCK)):
                for column, own in zip(cells, _across(block, len(head)), strict=True):
                    column += own
    except (FileNotFoundError, ValueError, csv.Error) as fault:
        raise Unreadable(f"{path.name} cannot be read: {fault}") from None
    if not head:
        raise Unreadable(f"{path.name} is no table")
    return Table(path.name, head, cells)


_BLOCK = 10_000  # rows


def _across(block: list[list[str]], count: int) -> Iterator[list[str]]:
    """The columns of some rows, in plain text, each text kept once. Raises `csv.Error` where rows
    are not as long as the head."""
    if set(map(len, block)) != {count}:
        raise csv.Error("its rows differ in length")
    for column in zip(*block, strict=True):
        once = {text: text for text in column}
        if "'" in "".join(once):
            once = {text: plain(text) for text in once}
        yield [once[text] for text in column]


class Layout:
    """layout.gpkg, by SQLite alone."""

    def __init__(self, path: Path):
        self.path = path
        self.shown: Shapes | None = None  # the areas in degrees, once somebody has asked for them
        try:
            self.crs = self._crs()
        except (sqlite3.Error, TypeError) as fault:
            raise Unreadable(f"{path.name} cannot be read: {fault}") from None

    def _ask(self, question: str) -> list[tuple[Any, ...]]:
        with read_only(self.path) as base:
            return base.execute(question).fetchall()

    def _crs(self) -> str:
        asked = (
            "select s.definition, s.organization, s.organization_coordsys_id "
            "from gpkg_geometry_columns g join gpkg_spatial_ref_sys s "
            "on s.srs_id = g.srs_id where g.table_name = 'areas'"
        )
        return defined(*self._ask(asked)[0])

    def shapes(self, layer: str) -> tuple[list[tuple[str, str]], Shapes]:
        """Site, area and geometry of each row, in order."""
        try:
            rows = self._ask(f'select site, area, geometry from "{layer}" order by fid')  # ours
        except sqlite3.OperationalError:
            rows = self._ask(f'select site, area, geom from "{layer}" order by fid')
        whose = [(plain(str(site)), plain(str(area))) for site, area, _ in rows]
        return whose, unpacked([blob for _, _, blob in rows])


def read_only(path: Path) -> sqlite3.Connection:
    """A database that no statement can change, and that triggers and views of others cannot use."""
    if not path.is_file():  # a pipe would be waited for
        raise sqlite3.OperationalError("is no regular file")
    base = sqlite3.connect(f"file:{quote(str(path.absolute()))}?mode=ro", uri=True, timeout=5)
    base.execute("pragma trusted_schema = off")
    base.execute("pragma query_only = on")
    return base


def defined(definition: Any, organization: Any, number: Any) -> str:
    """A CRS of a GeoPackage: its WKT, or its number where it has none (CRS of three dimensions)."""
    text = str(definition)
    if "[" in text:
        return text
    return f"{organization}:{number}"


#: bytes of a GeoPackage geometry's envelope, by its kind (OGC 12-128r19, 2.1.3)
_ENVELOPE = (0, 32, 48, 48, 64)


def unpacked(blobs: Iterable[bytes | None]) -> Shapes:
    """GeoPackage geometries; None where there is none."""
    wkb = [None if blob is None else blob[8 + _ENVELOPE[(blob[3] >> 1) & 7] :] for blob in blobs]
    shapes: Shapes = np.asarray(shapely.from_wkb(np.array(wkb, object), on_invalid="ignore"))
    return shapely.force_2d(shapes)
