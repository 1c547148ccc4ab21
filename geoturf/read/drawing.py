"""DXF drawings: closed polylines, circles and hatches are areas; layers go by their names.

A drawing has no CRS, so the bid states one; it is drawn in the unit that its header names
(``$INSUNITS``, DXF Reference, header section) or that the layer states, and is scaled to the CRS's.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from typing import IO, Any

import numpy as np
import pyarrow as pa
import pyogrio
import shapely

from geoturf.read.item import Item
from geoturf.read.loaded import Loaded, looked_at
from geoturf.read.say import Say, counted
from geoturf.units import unit_factor

_LAYER = "Layer"  # GDAL's name of the column
#: $INSUNITS -> unit (DXF Reference, header section); what stands for none is left out
_UNITS = {
    1: "in",
    2: "ft",
    4: "mm",
    5: "cm",
    6: "m",
    10: "yd",
    21: "ft",
}
_UNIT = re.compile(rb"\$INSUNITS\s+70\s+(\d+)")
_HEADER = 1 << 18  # bytes in which the header lies
_BEGINS, _NAME, _OWN_LAYER = 0, 2, 8  # group codes
_LONGEST = 1 << 16  # bytes of a line
#: entities that come one by one, as lines and areas (DXF Reference, section of entities)
_DRAWN = ("LINE", "LWPOLYLINE", "POLYLINE", "ARC", "CIRCLE", "ELLIPSE", "SPLINE", "HATCH")
#: entities that bound nothing, belong to another, or come in the place of what they hold
_NO_OUTLINE = (
    "3DFACE", "ACAD_TABLE", "ARC_DIMENSION", "ATTDEF", "ATTRIB", "DGNUNDERLAY", "DIMENSION",
    "DWFUNDERLAY", "IMAGE", "INSERT", "LARGE_RADIAL_DIMENSION", "LEADER", "LIGHT", "MLINE", "MTEXT",
    "MULTILEADER", "OLE2FRAME", "OLEFRAME", "PDFUNDERLAY", "POINT", "RAY", "SECTION", "SEQEND",
    "SHAPE", "SOLID", "SUN", "TEXT", "TOLERANCE", "VERTEX", "VIEWPORT", "WIPEOUT", "XLINE",
)  # fmt: skip
_SAME = 1e-5  # feet and survey feet: a drawing in one lies in the grid of the other


def layers(item: Item) -> list[str]:
    """Names of the layers that hold an area, as they come."""
    table, shapes, _ = _read(item)
    names = np.array(table[_LAYER], object)[~shapely.is_missing(shapes)]
    return list(dict.fromkeys(map(str, names)))


def load(item: Item, layer: str, keep: Callable[[Sequence[str]], list[str]]) -> Loaded:
    """The areas of a layer, in the drawing's own unit."""
    table, shapes, _ = _read(item)
    here = (np.array(table[_LAYER], object) == layer) & ~shapely.is_missing(shapes)
    names = tuple(name for name in table if name != _LAYER)
    wanted = keep(names)
    cells = {name: pa.array(np.array(table[name], object)[here], pa.string()) for name in wanted}
    own = shapes[here]
    return Loaded(np.arange(len(own)), *looked_at(own, {}), names, pa.table(cells), None)


def say_others(item: Item, layer: str, say: Say) -> None:
    """Tells what is drawn in a layer and bounds no area, and what did not come."""
    table, shapes, kinds = _read(item)
    here = np.array(table[_LAYER], object) == layer
    points = np.isin(kinds, ("Point", "MultiPoint"))
    none = here & shapely.is_missing(shapes)
    others = int((none & points).sum())
    lines = int(none.sum()) - others
    _say_lost(item, layer, int((here & ~points).sum()), say)
    if lines:
        what = f"{counted(lines, 'open line')} bound no area and are not read"
        say.warn("open-line", f"{what}; close the polyline where one is the outline of turf")
    if others:
        say.note("not-an-area", f"{counted(others, 'point or text')} not read: no area")


def _say_lost(item: Item, layer: str, came: int, say: Say) -> None:
    """What the drawing's text has in a layer against the lines and areas that came."""
    entities = list(_entities(item))
    held = Counter(kind for kind, own in entities if own == layer)
    known = {*_DRAWN, *_NO_OUTLINE}
    strange = Counter(kind for kind, own in entities if own in (layer, "") and kind not in known)
    for kind, count in strange.items():
        what = f"{count:,} of kind '{kind[:40]}' not read, whatever it bounds"
        say.leave_out("lost", f"{what}; draw turf as closed polylines", count=count)
    short = sum(held[kind] for kind in _DRAWN) - came - strange.total()
    if short > 0:
        what = f"{counted(short, 'line or outline')} drawn in it cannot be read"
        say.leave_out("lost", f"{what}; save the drawing again", count=short)


def _entities(item: Item) -> Iterator[tuple[str, str]]:
    """(kind, layer) of all that stands in the drawing's section of entities: pairs of lines, a
    group's code and its value (DXF Reference, general file structure). What is no code is taken
    for 0, the beginning of an entity, as by GDAL."""
    section = kind = layer = ""
    with item.opened() as file:
        for code, value in _pairs(file):
            if code == _NAME and kind == "SECTION":
                section = value
            elif code == _OWN_LAYER:
                layer = value
            elif code == _BEGINS:
                if section == "ENTITIES" and kind != "SECTION":
                    yield kind, layer
                kind, layer = value, ""
                if kind == "ENDSEC":
                    section = ""


def _pairs(file: IO[bytes]) -> Iterator[tuple[int, str]]:
    lines = iter(lambda: file.readline(_LONGEST), b"")
    for code, value in zip(lines, lines, strict=False):
        number = code.strip()
        yield int(number) if number.isdigit() else 0, value.decode("utf-8", "replace").strip()


def _read(item: Item) -> tuple[dict[str, list[Any]], np.ndarray, np.ndarray]:
    """Columns of all that is drawn; its areas, None where something bounds none; its kinds."""
    meta, _, wkb, fields = pyogrio.raw.read(item.dataset, return_fids=True, force_2d=True)
    shapes = shapely.from_wkb(wkb)
    kinds = np.array([None if shape is None else shape.geom_type for shape in shapes], object)
    areas = np.empty(len(shapes), object)
    areas[:] = [_area(shape) for shape in shapes]
    columns = zip(map(str, meta["fields"]), fields, strict=True)
    return {name: list(values) for name, values in columns}, areas, kinds


def _area(shape: Any) -> Any:
    """What a drawn thing bounds, None for nothing: itself, its closed outline, or all that a block
    holds."""
    if shape is None or shape.is_empty:
        return None
    if shape.geom_type in ("Polygon", "MultiPolygon"):
        return shape
    if shape.geom_type == "LineString":
        closed = shape.is_closed and shapely.get_num_coordinates(shape) > 3
        if closed:
            return shapely.Polygon(shape)
        return None
    parts = [_area(part) for part in getattr(shape, "geoms", ())]
    held = [part for part in parts if part is not None]
    flat = [one for part in held for one in getattr(part, "geoms", (part,))]
    if flat:
        return shapely.MultiPolygon(flat)
    return None


def in_grid(loaded: Loaded, item: Item, stated: str, crs: Any, say: Say) -> Loaded:
    """The drawing in the unit of its CRS. ``stated``: the unit that the layer states."""
    unit = stated or _header_unit(item)
    grid = crs.axis_info[0]
    if not unit:
        which = f"it is taken to be that of {crs.name}, {grid.unit_name}"
        say.warn("drawing-unit", f'names no unit; {which}; state it in its layer, unit = "ft"')
        return loaded
    if crs.is_geographic:
        what = f"is drawn in {unit}, which are not degrees ({crs.name})"
        say.refuse("drawing-unit", f"{what}; state the projected CRS that it is drawn in")
        return loaded
    scale = unit_factor(unit)[0] / grid.unit_conversion_factor
    if abs(scale - 1) < _SAME:
        return loaded
    say.note("drawing-unit", f"is drawn in {unit}; scaled by {scale:.9g} to {grid.unit_name}")
    larger = shapely.transform(loaded.geometry, lambda points: points * scale)
    return replace(loaded, geometry=larger, boxes=shapely.bounds(larger))


def _header_unit(item: Item) -> str:
    """The unit by the drawing's header, "" where it names none."""
    with item.opened() as file:
        found = _UNIT.search(file.read(_HEADER))
    if found:
        return _UNITS.get(int(found.group(1)), "")
    return ""
