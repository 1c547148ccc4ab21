"""Why a file that is named cannot be read as what its name says, before GDAL is handed it."""

from __future__ import annotations

import contextlib
import os
import re
import sqlite3
from pathlib import Path

from geoturf.read.formats import Format
from geoturf.read.item import SHAPEFILE_PARTS, Item, parts
from geoturf.rules.limits import MIB, LimitRules

HEAD = 65_536
_WAIT_S = 2.0  # for another program to let go of a GeoPackage
#: what GDAL's virtual drivers look for anywhere in a file's head, whatever else it is
_VIRTUAL = re.compile(rb"OGRVRTDataSource|OGRWFSDataSource|gdal_streamed_alg", re.IGNORECASE)


def size_fault(item: Item, limits: LimitRules) -> str:
    """Why a file, or a shapefile with its parts, is more than is looked through, or nothing."""
    size = sum(part.stat().st_size for part in parts(item)) / MIB
    if size <= limits.file_mib:
        return ""
    most = f"{limits.file_mib:,.0f} MiB that are taken of one file ([limits] file_mib)"
    return f"has {size:,.0f} MiB, more than the {most}: save the areas that are meant as a file"


def busy(path: Path, kind: Format) -> str:
    """Why a GeoPackage that another program holds cannot be read as it stands, or nothing."""
    if kind.name != "GeoPackage":
        return ""
    log = path.with_name(f"{path.name}-wal")
    if log.is_file() and log.stat().st_size:
        what = f"has changes in a write-ahead log beside it ({log.name})"
        return f"{what}: close the program that writes it, and run again"
    base = sqlite3.connect(f"{path.absolute().as_uri()}?mode=ro", uri=True, timeout=_WAIT_S)
    try:
        base.execute("select count(*) from sqlite_master").fetchone()
    except sqlite3.OperationalError as fault:
        if "locked" in str(fault):
            return "is locked by another program: close it there, and run again"
    except (sqlite3.Error, ValueError):  # damage, which its reader tells of
        pass
    finally:
        base.close()
    return ""


def contents(path: Path) -> int:
    """Layers that a GeoPackage lists (GDAL opens each to list them); 0 where that can't be told."""
    try:
        with contextlib.closing(
            sqlite3.connect(f"{path.absolute().as_uri()}?mode=ro", uri=True)
        ) as base:
            return int(base.execute("select count(*) from gpkg_contents").fetchone()[0])
    except (sqlite3.Error, ValueError):  # a damaged schema may be no text, a count no number
        return 0


def part_fault(path: Path, suffix: str) -> str:
    """Why a part of a shapefile cannot be opened, or nothing."""
    if suffix != ".shp":
        return ""
    for part in (
        p for low in SHAPEFILE_PARTS for p in {path.with_suffix(low), path.with_suffix(low.upper())}
    ):
        if os.path.lexists(part) and not part.is_file():
            return f"its {part.suffix} is no regular file"
        try:
            if part.is_file():
                part.open("rb").close()
        except OSError as error:
            return f"its {part.suffix} cannot be opened: {error.strerror}"
    return ""


def content_fault(head: bytes, kind: Format, size: int, limits: LimitRules) -> str:
    """Why a file of a ``size`` that begins so cannot be of a ``kind``, or nothing."""
    if not head:
        return "is empty"
    if kind.text and _VIRTUAL.search(head):
        return "is a virtual dataset, which may point anywhere"
    if kind.text and size > limits.text_mib * MIB:
        most = f"{limits.text_mib:,.0f} MiB that are read ([limits] text_mib)"
        return (
            f"is {kind.name} of {size / MIB:,.0f} MiB, more than the {most}: send it as GeoPackage"
        )
    for what, why in kind.refused:
        if what.search(head):
            return why
    if not kind.begins.match(head):
        return f"is no {kind.name}, whatever its name says"
    other = b'"Topology"' in head or (
        b'"esriGeometry' in head and b'"FeatureCollection"' not in head
    )
    if other and kind.name == "GeoJSON":
        return "is JSON of another kind than GeoJSON"
    return ""
