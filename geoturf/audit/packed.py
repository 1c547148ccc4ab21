"""Input in a zip, and KML, by `zipfile` and `xml` alone.

Raises `Unreadable` where a zip holds several files of geometry, and for KML that declares entities
or whose layer is not plain."""

from __future__ import annotations

import tempfile
import zipfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path, PurePosixPath
from typing import Any
from xml.etree import ElementTree

import numpy as np
import shapely

from geoturf.audit.folder import Shapes, Unreadable

ZIPS = (".zip", ".kmz")
_MAIN = (".shp", ".gpkg", ".geojson", ".json", ".kml", ".parquet", ".geoparquet")
_UNPACKED_BYTES = 1 << 29

Kml = tuple[str, list[str], dict[str, list[str]], Shapes]


@contextmanager
def unpacked(path: Path) -> Iterator[Path]:
    """The one file of geometry in a zip, with what lies beside it under its name."""
    with zipfile.ZipFile(path) as archive, tempfile.TemporaryDirectory() as folder:
        names = [one for one in archive.namelist() if not _hidden(one)]
        main = [one for one in names if PurePosixPath(one).suffix.lower() in _MAIN]
        if len(main) != 1:
            raise Unreadable(f"holds {len(main)} files of geometry; the audit reads zips of one")
        own = PurePosixPath(main[0]).with_suffix("")
        parts = [one for one in names if PurePosixPath(one).with_suffix("") == own]
        if sum(archive.getinfo(one).file_size for one in parts) > _UNPACKED_BYTES:
            raise Unreadable("is larger than the audit reads")
        for one in parts:  # under their last names alone, so nowhere else
            (Path(folder) / PurePosixPath(one).name).write_bytes(archive.read(one))
        yield Path(folder) / PurePosixPath(main[0]).name


def _hidden(name: str) -> bool:
    return any(part.startswith((".", "__MACOSX")) for part in PurePosixPath(name).parts)


def kml(path: Path, layer: str) -> Kml:
    """Placemarks of a folder or document, in degrees of WGS 84 (OGC 12-007r2)."""
    data = path.read_bytes()
    if b"<!DOCTYPE" in data or b"<!ENTITY" in data:
        raise Unreadable("declares entities")
    try:
        tree = ElementTree.fromstring(data)
    except ElementTree.ParseError as fault:
        raise Unreadable(f"is no KML ({fault})") from None
    marks = _marks(tree, layer)
    shape: Shapes = np.empty(len(marks), object)
    shape[:] = [_shape(mark) for mark in marks]
    held = [_data(mark) for mark in marks]
    names = dict.fromkeys(name for one in held for name in one)
    columns = {name: [one.get(name, "") for one in held] for name in names}
    return "OGC:CRS84", [str(k + 1) for k in range(len(marks))], columns, shape


def _tag(element: ElementTree.Element) -> str:
    return element.tag.rpartition("}")[2]


def _marks(tree: ElementTree.Element, layer: str) -> list[ElementTree.Element]:
    """Those of the one folder or document that holds any, or of that which is called so."""
    held = {}
    for one in tree.iter():
        marks = [child for child in one if _tag(child) == "Placemark"]
        if marks:
            held[one] = marks
    own = [one for one in held if layer and _child(one, "name") == layer]
    if len(own or held) != 1:
        raise Unreadable(
            f"holds {len(held)} folders of placemarks; the audit reads one by its name"
        )
    (found,) = own or held
    return held[found]


def _child(element: ElementTree.Element, name: str) -> str:
    return next(((one.text or "").strip() for one in element if _tag(one) == name), "")


def _data(mark: ElementTree.Element) -> dict[str, str]:
    """Its name, description and extended data."""
    data = {"Name": _child(mark, "name"), "Description": _child(mark, "description")}
    for one in mark.iter():
        if _tag(one) == "SimpleData":
            data[one.get("name", "")] = (one.text or "").strip()
        elif _tag(one) == "Data":
            data[one.get("name", "")] = _child(one, "value")
    return data


def _shape(mark: ElementTree.Element) -> Any:
    """Its polygons; None where it has anything else, or nothing."""
    geometry = [one for one in mark if _tag(one) in ("Polygon", "MultiGeometry")]
    made = [_polygon(one) for part in geometry for one in part.iter() if _tag(one) == "Polygon"]
    made = [one for one in made if one is not None]
    if not made:
        return None
    if len(made) == 1:
        return made[0]
    return shapely.MultiPolygon(made)


def _polygon(element: ElementTree.Element) -> Any:
    outer = [_ring(one) for one in element if _tag(one) == "outerBoundaryIs"]
    inner = [_ring(one) for one in element if _tag(one) == "innerBoundaryIs"]
    if not outer or len(outer[0]) < 4:
        return None
    return shapely.Polygon(outer[0], [ring for ring in inner if len(ring) >= 4])


def _ring(boundary: ElementTree.Element) -> list[tuple[float, ...]]:
    texts = [one.text or "" for one in boundary.iter() if _tag(one) == "coordinates"]
    return [tuple(map(float, one.split(",")[:2])) for one in " ".join(texts).split()]
