"""Formats that nobody would read a second time by hand (FlatGeobuf, file geodatabases, GML, DXF): as
GDAL reads them, feature by feature. No code of the run's is shared, but its library is: what GDAL
itself misreads is not met. Raises `Unreadable` for what is none of these, whatever its name says."""

from __future__ import annotations

import os
import re
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import numpy as np
import pyproj
import shapely

from geoturf.audit.factors import LENGTHS
from geoturf.audit.folder import Shapes, Unreadable

SUFFIXES = (".fgb", ".gdb", ".gml")
#: what files begin with: GDAL goes by that, and would follow an address in one of another kind
_BEGINS = {
    ".fgb": re.compile(rb"fgb"),
    ".gml": re.compile(rb"(?:\xef\xbb\xbf)?\s*(?:<\?xml[^>]*\?>\s*)?(?:<!--.*?-->\s*)*"
                       rb"<(?:\w+:)?\w*FeatureCollection\s", re.DOTALL),
    ".dxf": re.compile(rb"(?:\s*999[ \t]*\r?\n[^\n]*\n)*\s*0\s*\r?\n\s*SECTION\s"),
}  # fmt: skip
_HEAD = 1 << 16
_OPTIONS = {"GML_FIELDTYPES": "ALWAYS_STRING", "GML_DOWNLOAD_SCHEMA": "NO", "CPL_LOG": os.devnull}
#: $INSUNITS (DXF Reference, header section), as far as it is usual
_DRAWN_IN = {1: "in", 2: "ft", 4: "mm", 5: "cm", 6: "m", 10: "yd", 21: "ft"}
_INSUNITS = re.compile(rb"\$INSUNITS\s+70\s+(\d+)")

Features = tuple[str, list[str], dict[str, list[Any]], Shapes]


def read(path: Path, layer: str) -> Features:
    """CRS, numbers, columns and shapes of a layer, "" for the only one."""
    import pyogrio

    with _known(path) as file:
        if not layer:
            layer = _only(layers_of(file), "layers")
        meta, fids, wkb, fields = pyogrio.raw.read(
            file, layer=layer, return_fids=True, force_2d=True
        )
    shape = np.asarray(shapely.from_wkb(wkb))
    numbers = [str(k + 1) for k in range(len(shape))]
    if path.suffix.lower() == ".gdb":  # it stores them
        numbers = [str(fid) for fid in fids]
    return str(meta["crs"] or ""), numbers, _columns(meta, fields), shape


def _columns(meta: dict[str, Any], fields: list[Any]) -> dict[str, list[Any]]:
    names = map(str, meta["fields"])
    columns = zip(names, (field.tolist() for field in fields), strict=True)
    return {name: [None if v != v else v for v in values] for name, values in columns}


def layers_of(path: Path) -> list[str]:
    """Layers of geometry by name."""
    import pyogrio

    with _known(path) as file:
        return [str(name) for name, kind in pyogrio.list_layers(file) if kind]


def drawing(path: Path, layer: str) -> tuple[list[str], dict[str, list[Any]], Shapes]:
    """Names of layers of a DXF that hold an area; the areas of one (of the only one for "") in the
    drawing's unit, and their columns."""
    import pyogrio

    with _known(path) as file:
        meta, _, wkb, fields = pyogrio.raw.read(file, return_fids=True, force_2d=True)
    shapes: Shapes = np.empty(len(wkb), object)
    shapes[:] = [_bounded(one) for one in shapely.from_wkb(wkb)]
    columns = _columns(meta, fields)
    here = np.array(columns.pop("Layer"), object)
    drawn = ~shapely.is_missing(shapes)
    names = list(dict.fromkeys(str(name) for name in here[drawn]))
    rows = np.flatnonzero(drawn & (here == (layer or _only(names, "layers"))))
    return names, {name: [held[k] for k in rows] for name, held in columns.items()}, shapes[rows]


def scaled(path: Path, unit: str, crs: pyproj.CRS, shapes: Shapes) -> Shapes:
    """Shapes of a drawing in the unit of its CRS. ``unit``: as the bid states it, else the header
    tells."""
    found = _INSUNITS.search(path.read_bytes()[: 1 << 18])
    unit = unit or _DRAWN_IN.get(int(found.group(1)) if found else 0, "")
    if unit and unit not in LENGTHS:
        raise Unreadable(f"is drawn in {unit}, which the audit does not know")
    scale = LENGTHS.get(unit, 1.0) / crs.axis_info[0].unit_conversion_factor
    if not unit or abs(scale - 1) < 1e-5:  # feet and survey feet are drawn alike
        return shapes
    out: Shapes = shapely.transform(shapes, lambda points: points * scale)
    return out


def _bounded(shape: Any) -> Any:
    """What a line or area bounds; None for nothing."""
    if shape is None or shape.is_empty or shape.geom_type in ("Polygon", "MultiPolygon"):
        return shape
    if shape.geom_type == "LineString" and shape.is_closed and len(shape.coords) > 3:
        return shapely.Polygon(shape)
    parts = [_bounded(one) for one in getattr(shape, "geoms", ())]
    flat = [one for part in parts if part is not None for one in shapely.get_parts(part)]
    return shapely.MultiPolygon(flat) if flat else None


def _only(names: list[str], what: str) -> str:
    if len(names) != 1:
        raise Unreadable(f"holds {len(names)} {what}; the audit reads one by its name")
    return names[0]


@contextmanager
def _known(path: Path) -> Iterator[Path]:
    """The file, once it is of the kind that its name says; GML by a copy, since GDAL writes a file
    of its own beside it."""
    import pyogrio

    kind = path.suffix.lower()
    if kind == ".gdb":
        if not (path / "a00000001.gdbtable").is_file():
            raise Unreadable("is no geodatabase")
    else:
        with path.open("rb") as file:
            head = file.read(_HEAD)
        if not _BEGINS[kind].match(head) or b"<!DOCTYPE" in head:
            raise Unreadable(f"is no plain {kind[1:].upper()}")
    pyogrio.set_gdal_config_options(_OPTIONS)
    if kind != ".gml":
        yield path
        return
    with tempfile.TemporaryDirectory() as folder:
        shutil.copy(path, folder)
        yield Path(folder) / path.name
