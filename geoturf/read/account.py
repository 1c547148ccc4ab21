"""What a file holds against what came out of it: GDAL drops rows, records and members without a
word.

`claim` looks into the file by other means than the reader; `account` compares. A feature is called
by its record: its number in the file, counted from 1 as people count rows (in a shapefile: "record
numbers begin at 1", ESRI Shapefile Technical Description, 1998). A GeoPackage stores a number of
its own with each feature, ``fid``, which a GIS shows: there it is that.
"""

from __future__ import annotations

import contextlib
import re
import sqlite3
import struct
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from typing import IO, Any

import numpy as np
import pyogrio
import shapely
from pyarrow import parquet

from geoturf.read import wkt_table
from geoturf.read.formats import KINDS
from geoturf.read.item import BAD_ZIP, Item
from geoturf.read.loaded import Loaded
from geoturf.read.look import Held
from geoturf.read.members import BROKEN, members
from geoturf.read.say import Say, counted, listed

# bytes of a .shp or .shx before its first record (ESRI Shapefile Technical Description, 1998)
_HEADER = 100
_DELETED = b"*"  # the first byte of a dBASE row that is marked as deleted
_MARKS = b" *\0"  # what rows begin with (dBASE III file structure: space or asterisk; NUL is met)
_PLACEMARK = re.compile(rb"<(?:\w+:)?Placemark[\s/>]")
_BLOCK = 1 << 20
_NAMED = 100_000  # more are lost only where a header lies: they are counted, not named


@dataclass(frozen=True)
class Claim:
    """``count``: features that a layer of a file holds, -1 where it does not say. ``lost``:
    {record: why} of those known not to come; ``texts``: {record: its properties} of those, where
    they can be had."""

    count: int = -1
    lost: dict[int, str] = field(default_factory=dict)
    texts: dict[int, dict[str, Any]] = field(default_factory=dict)


def claim(held: Held) -> Claim:
    """What a layer holds, counted without handing its features over. Says nothing: what cannot be
    counted, cannot be read either, and that is said there."""
    try:
        return _COUNTED_BY[held.item.format](held)
    except Exception:  # whatever a damaged file makes a reader raise
        return Claim()


def account(held: Held, claimed: Claim, loaded: Loaded, found: dict[str, str], say: Say) -> Loaded:
    """The features with their records for numbers; says which of a file did not come, and marks the
    records that came as nothing but are not nothing. ``found``: geoturf's name of a column -> the
    file's."""
    records = _records(held, claimed, loaded.ids)
    loaded = replace(loaded, ids=records)
    if held.item.format == "shapefile":
        if held.item.size(".dbf") is None:
            say.warn(
                "no-dbf",
                "its .dbf is missing: there are no attributes, and each shape is a site of its own",
            )
        missing = np.flatnonzero(shapely.is_missing(loaded.geometry))
        if missing.size:
            loaded.bad.update(_unreadable(held.item, loaded.ids, missing))
        loaded = _in_place(held, loaded, say)
    for record, why in loaded.failed.items():
        say.leave_out("bad-record", f"{why}, and is left out", feature=str(record))
    count = claimed.count - len(records) - len(loaded.failed)
    if count > 0:
        named = _named(held, claimed, [*records.tolist(), *loaded.failed], count)
        _say_lost(held, claimed, named, count, found, say)
    return loaded


def _records(held: Held, claimed: Claim, numbers: np.ndarray) -> np.ndarray:
    """The record of each feature that came, from the reader's own numbers."""
    if held.item.format in ("GeoPackage", "file geodatabase"):
        return numbers
    if held.item.kind.by_place:
        return numbers + 1
    came = len(numbers)
    lost = list(claimed.lost) if claimed.count - came == len(claimed.lost) else []
    return np.setdiff1d(np.arange(1, came + len(lost) + 1), lost)


def _named(held: Held, claimed: Claim, came: list[int], count: int) -> dict[int, str]:
    """{record: why} of those that did not come, where they can be told."""
    if count > _NAMED:
        return {}
    if not held.item.kind.by_place:
        if len(claimed.lost) == count:
            return claimed.lost
        return {}
    gone = np.setdiff1d(np.arange(1, claimed.count + 1), came).tolist()
    if held.item.format == "shapefile":
        return _row_faults(held, gone)
    return dict.fromkeys(gone, _why(held))


def _say_lost(
    held: Held, claimed: Claim, named: dict[int, str], count: int, found: dict[str, str], say: Say
) -> None:
    """A finding for each reason, which names the record, or some of them."""
    reasons: dict[str, list[int]] = {}
    for record, why in named.items():
        reasons.setdefault(why, []).append(record)
    if len(named) < count:
        reasons.setdefault(_why(held), []).extend([0] * (count - len(named)))
    for why, records in reasons.items():
        message = f"{counted(len(records), 'feature')} of {claimed.count:,} left out: {why}"
        told = [record for record in records if record]
        if len(told) == 1:
            (record,) = told
            named_as = _place(claimed, record, found)
            say.leave_out("lost", message, 1, feature=str(record), **named_as)
        else:
            which = ""
            if told:
                which = f" (records {listed(told)})"
            say.leave_out("lost", message + which, count=len(records))


def _place(claimed: Claim, record: int, found: dict[str, str]) -> dict[str, str]:
    """Site and area of a feature that did not come, by its properties."""
    texts = claimed.texts.get(record, {})
    given = {ours: texts.get(found.get(ours, "")) for ours in ("site", "area")}
    return {ours: str(text) for ours, text in given.items() if text is not None}


def _why(held: Held) -> str:
    return (
        f"the {held.item.format} says that it holds more than can be read from it; send the "
        "file again"
    )


# ---------------------------------------------------------------------------------- one format each


def _of_flatgeobuf(held: Held) -> Claim:
    return Claim(pyogrio.read_info(held.item.dataset)["features"] or -1)


def _of_geopackage(held: Held) -> Claim:
    """Rows of the layer's table, counted by SQLite; a view may take for ever and is taken as GDAL
    reads it."""
    if held.item.member:
        return Claim(
            pyogrio.read_info(held.item.dataset, layer=held.layer, force_feature_count=True)[
                "features"
            ]
        )
    table = held.layer.replace('"', '""')
    with contextlib.closing(
        sqlite3.connect(f"{held.item.path.absolute().as_uri()}?mode=ro", uri=True)
    ) as base:
        kind = base.execute(
            "select type from sqlite_master where name = ?", (held.layer,)
        ).fetchone()
        if kind is None or kind[0] != "table":
            return Claim()
        return Claim(base.execute(f'select count(*) from "{table}"').fetchone()[0])


def _of_layer(held: Held) -> Claim:
    """As the reader counts them."""
    options = {"WRITE_GFS": "NO"} if held.item.format == "GML" else {}
    info = pyogrio.read_info(held.item.dataset, held.layer, force_feature_count=True, **options)
    return Claim(info["features"])


def _of_dxf(held: Held) -> Claim:
    """A drawing names no number; what of it bounds no area is told where it is read."""
    return Claim()


def _of_csv(held: Held) -> Claim:
    return Claim(len(wkt_table.read(held.item).rows))


def _of_kml(held: Held) -> Claim:
    """Placemarks, where one layer holds them all."""
    if len(pyogrio.list_layers(held.item.dataset)) > 1:
        return Claim()
    with held.item.opened() as file:
        return Claim(sum(1 for _ in _found(file, _PLACEMARK)))


def _found(file: IO[bytes], what: re.Pattern[bytes]) -> Iterator[re.Match[bytes]]:
    """Matches of a short pattern in a file, a block at a time."""
    rest = b""
    while block := file.read(_BLOCK):
        text = rest + block
        end = 0
        for match in what.finditer(text):
            end = match.end()
            yield match
        rest = text[max(end, len(text) - 64) :]


def _of_geojson(held: Held) -> Claim:
    count = 0
    lost = {}
    texts = {}
    with held.item.opened() as file:
        for count, (member, listed_there) in enumerate(members(file), 1):
            why = ""
            if listed_there or member is BROKEN:
                why = _no_feature(member)
            if why:
                lost[count] = f"{why}; mend it at its source"
                properties = member.get("properties") if isinstance(member, dict) else None
                texts[count] = properties if isinstance(properties, dict) else {}
    return Claim(count, lost, texts)


def _no_feature(member: Any) -> str:
    """Why a member of ``features`` is no Feature (RFC 7946 section 3.2), or nothing."""
    if member is BROKEN:
        return "it is no JSON"
    if not isinstance(member, dict):
        return f"it is {'null' if member is None else 'no object'}, where a Feature should stand"
    if "type" not in member:
        return 'it has no "type" (should be "Feature")'
    kind = member["type"]
    if kind == "Feature":
        return ""
    return f'its "type" is {str(kind)[:40]!r} (should be "Feature")'


def _of_parquet(held: Held) -> Claim:
    return Claim(parquet.read_metadata(held.item.path).num_rows)


def _of_shapefile(held: Held) -> Claim:
    """Shapes by the .shx, rows by the .dbf."""
    index = held.item.size(".shx")
    if index is None:
        return Claim()
    with held.item.opened(".shx") as file:
        said = (
            struct.unpack(">i", file.read(28)[24:])[0] * 2
        )  # the file's length by its header, in words of two bytes
    shapes = (min(index, said) - _HEADER) // 8
    return Claim(max(shapes, _Rows.of(held).least))


@dataclass(frozen=True)
class _Rows:
    """The rows of a .dbf: as many as its header says (``said``) and as its length holds
    (``whole``); where they start, and the bytes of each."""

    said: int = 0
    whole: int = 0
    first: int = 0
    size: int = 0

    @property
    def least(self) -> int:
        return min(self.said, self.whole)

    @staticmethod
    def of(held: Held) -> _Rows:
        length = held.item.size(".dbf")
        if length is None:
            return _Rows()
        with held.item.opened(".dbf") as file:
            head = file.read(12)
        said, first, size = struct.unpack("<IHH", head[4:]) if len(head) == 12 else (0, 0, 0)
        return _Rows(said, max(0, length - first) // size if size else 0, first, size)


def _row_faults(held: Held, gone: list[int]) -> dict[int, str]:
    """Why the rows of some records did not come."""
    rows = _Rows.of(held)
    if held.item.size(".dbf") is None:
        return dict.fromkeys(gone, _why(held))
    with held.item.opened(".dbf") as file:
        return {record: _row_fault(file, rows, record, _why(held)) for record in gone}


def _row_fault(file: IO[bytes], rows: _Rows, record: int, otherwise: str) -> str:
    if rows.whole < min(record, rows.said):
        return (
            f"its .dbf is cut short ({counted(rows.whole, 'row')} of the {rows.said:,} it "
            "says); send it again"
        )
    if record > rows.said:
        return (
            f"its .dbf has {counted(rows.said, 'row')}, fewer than there are shapes; send .shp "
            "and .dbf of one export"
        )
    file.seek(rows.first + (record - 1) * rows.size)
    if file.read(1) == _DELETED:
        return (
            "its row in the .dbf is marked as deleted; take the mark off, or pack the file if "
            "it is meant"
        )
    return otherwise


def _in_place(held: Held, loaded: Loaded, say: Say) -> Loaded:
    """The records whose rows begin with a mark, as rows do: of others, texts and numbers are those
    of their neighbours."""
    rows = _Rows.of(held)
    if not (rows.size and loaded.ids.size):
        return loaded
    with held.item.opened(".dbf") as file:
        marks = np.frombuffer(b"".join(_marks(file, rows, int(loaded.ids.max()))), np.uint8)
    marked = np.isin(marks, np.frombuffer(_MARKS, np.uint8))
    kept = np.ones(len(loaded.ids), bool)
    stored = loaded.ids <= len(marks)
    kept[stored] = marked[loaded.ids[stored] - 1]
    if kept.all():
        return loaded
    gone = loaded.ids[~kept]
    which = "" if len(gone) == len(kept) else f" (records {listed(gone)})"
    say.leave_out(
        "bad-record",
        f"{counted(len(gone), 'feature')} left out{which}: rows of its .dbf do not begin where its "
        "header says; it is damaged, send it again",
        count=len(gone),
    )
    return loaded.only(kept)


def _marks(file: IO[bytes], rows: _Rows, count: int) -> Iterator[bytes]:
    """First bytes of so many rows, some rows at a time."""
    file.seek(rows.first)
    at_once = max(1, _BLOCK // rows.size)
    for start in range(0, min(count, rows.whole), at_once):
        here = min(count - start, at_once)
        yield file.read(here * rows.size)[:: rows.size]


def _unreadable(item: Item, records: np.ndarray, missing: np.ndarray) -> dict[int, str]:
    """Of the rows without geometry, those whose record is no null shape: it is damaged, or the file
    ends before it."""
    bad: dict[int, str] = {}
    try:
        with item.opened(".shx") as index, item.opened(".shp") as shapes:
            for row in missing.tolist():
                why = _record_fault(index, shapes, int(records[row]))
                bad |= {row: why} if why else {}
    except (FileNotFoundError, *BAD_ZIP):
        pass
    return bad


def _record_fault(index: IO[bytes], shapes: IO[bytes], record: int) -> str:
    index.seek(_HEADER + 8 * (record - 1))
    entry = index.read(4)
    start = struct.unpack(">i", entry)[0] * 2 if len(entry) == 4 else -1
    shapes.seek(max(0, start) + 8)
    kind = b""
    if start >= _HEADER:
        kind = shapes.read(4)
    if len(kind) < 4:
        return "the file ends before its record"
    if struct.unpack("<i", kind)[0] != 0:
        return "its record is damaged"
    return ""


#: format -> how what its files hold is counted
_COUNTED_BY = {
    "shapefile": _of_shapefile,
    "GeoJSON": _of_geojson,
    "GeoPackage": _of_geopackage,
    "FlatGeobuf": _of_flatgeobuf,
    "GeoParquet": _of_parquet,
    "KML": _of_kml,
    "GML": _of_layer,
    "file geodatabase": _of_layer,
    "CSV": _of_csv,
    "DXF": _of_dxf,
}
if _uncounted := {kind.name for kind in KINDS} - _COUNTED_BY.keys():
    raise ValueError(f"what is lost of a format could not be told: {', '.join(_uncounted)}")
