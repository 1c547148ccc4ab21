"""Input in a zip, and KML, by `zipfile` and `xml` alone.

Raises `Unreadable` for KML that declares entities or whose layer is not plain."""

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
_MAIN = (
    ".shp", ".gpkg", ".geojson", ".json", ".kml", ".parquet", ".geoparquet", ".fgb", ".gml", ".dxf",
)  # fmt: skip
_UNPACKED_BYTES = 1 << 29

Kml = tuple[str, list[str], dict[str, list[str]], Shapes]


def members(path: Path) -> dict[str, str]:
    """Files of geometry in a zip by what each is called: its name, or its place in the zip where
    others have that name."""
    with zipfile.ZipFile(path) as archive:
        names = [one for one in archive.namelist() if not _hidden(one)]
    held = dict.fromkeys(filter(None, map(_geometry, names)))
    stems = [PurePosixPath(one).stem for one in held]
    return {
        one if stems.count(stem) > 1 else stem: one for one, stem in zip(held, stems, strict=True)
    }


def _geometry(name: str) -> str:
    """What a name in a zip is of: itself, the geodatabase about it, or "" for no geometry."""
    about = [str(one) for one in PurePosixPath(name).parents if one.suffix.lower() == ".gdb"]
    if about:
        return about[0]
    if PurePosixPath(name).suffix.lower() in _MAIN:
        return name
    return ""


@contextmanager
def unpacked(path: Path, main: str) -> Iterator[Path]:
    """A file of geometry in a zip, with what lies beside it under its name; a geodatabase with what
    is in it."""
    own = PurePosixPath(main)
    with zipfile.ZipFile(path) as archive, tempfile.TemporaryDirectory() as folder:
        held = [one for one in archive.infolist() if not one.is_dir()]
        parts = {one: PurePosixPath(one.filename) for one in held}
        inside = {one for one, name in parts.items() if name.parent == own}
        beside = {one for one, name in parts.items() if name.with_suffix("") == own.with_suffix("")}
        if sum(one.file_size for one in inside | beside) > _UNPACKED_BYTES:
            raise Unreadable("is larger than the audit reads")
        into = Path(folder) / own.name
        if inside:
            into.mkdir()
        for one in inside:  # under their last names alone, so nowhere else
            (into / parts[one].name).write_bytes(archive.read(one))
        for one in beside:
            (into.parent / parts[one].name).write_bytes(archive.read(one))
        yield into


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
