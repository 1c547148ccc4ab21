"""The formats of GIS files that are read, a record each. What a file of each holds is counted in
`geoturf.read.account`."""

from __future__ import annotations

import re
from dataclasses import dataclass


@dataclass(
    frozen=True,
    slots=True,
    kw_only=True,
)
class Format:
    """A format whole; no field has a default."""

    name: str
    called: str  # as it is offered to who gives another
    suffixes: tuple[str, ...]
    begins: re.Pattern[
        bytes
    ]  # how its files begin; one that does not is refused, whatever its name
    refused: tuple[tuple[re.Pattern[bytes], str], ...]  # what of it is refused, and why
    swept: bool  # taken out of folders and zips; else read only where it is named
    text: bool  # may name files elsewhere, and is read whole into memory
    layers: bool  # a file may hold several
    by_place: bool  # its reader numbers features by their place in the file, from 0


#: white space, a byte-order mark, declarations and comments may stand before the element (XML 1.0)
_KML = re.compile(rb"(?:\xef\xbb\xbf)?(?:\s|<\?.*?\?>|<!--.*?-->)*<(?:\w+:)?kml[\s>]", re.DOTALL)

_GML = re.compile(rb"(?s).*xmlns(?::\w+)?\s*=\s*[\"']http://www\.opengis\.net/(?:gml|wfs)[/\"']")
_ENTITY = re.compile(rb"<!(?:DOCTYPE|ENTITY)", re.IGNORECASE)  # which may name files or never end

# fmt: off
#: every format, as they are offered
KINDS = (
    Format(
        name="shapefile", called="shapefile (.shp, or zipped)", suffixes=(".shp",),
        begins=re.compile(rb"\x00\x00\x27\x0a"), refused=(), swept=True, text=False, layers=False, by_place=True,
    ),
    Format(
        name="GeoJSON", called="GeoJSON", suffixes=(".geojson", ".json"),
        begins=re.compile(rb"[\xef\xbb\xbf \t\r\n]*\{"), refused=(), swept=True, text=True, layers=False, by_place=False,
    ),
    Format(
        name="GeoPackage", called="GeoPackage", suffixes=(".gpkg",),
        begins=re.compile(rb"SQLite format 3\x00"), refused=(), swept=True, text=False, layers=True, by_place=False,
    ),
    Format(
        name="FlatGeobuf", called="FlatGeobuf", suffixes=(".fgb",),
        begins=re.compile(rb"fgb"), refused=(), swept=True, text=False, layers=False, by_place=True,
    ),
    Format(
        name="GeoParquet", called="GeoParquet", suffixes=(".parquet", ".geoparquet"),
        begins=re.compile(rb"PAR1"), refused=(), swept=True, text=False, layers=False, by_place=False,
    ),
    Format(
        name="KML", called="KML (or zipped, .kmz)", suffixes=(".kml",),
        begins=_KML, refused=(), swept=True, text=True, layers=True, by_place=False,
    ),
    Format(
        name="file geodatabase", called="file geodatabase (.gdb, or zipped)", suffixes=(".gdb",),
        begins=re.compile(rb"(?!)"),  # it is a folder
        refused=(), swept=True, text=False, layers=True, by_place=False,
    ),
    Format(
        name="GML", called="GML", suffixes=(".gml",), begins=_GML,
        refused=((_ENTITY, "is GML with a document type of its own, which may point anywhere"),),
        swept=True, text=True, layers=True, by_place=False,
    ),
    Format(
        name="DXF", called="DXF", suffixes=(".dxf",), begins=re.compile(rb"(?s).*SECTION"),
        refused=((re.compile(rb"\AAutoCAD Binary DXF"), "is a binary DXF; save it as text "
                                                        "(ASCII)"),),
        swept=True, text=True, layers=True, by_place=False,
    ),
    Format(
        name="CSV", called="CSV with WKT", suffixes=(".csv",),
        begins=re.compile(rb"[^\x00]+\Z"),
        refused=(), swept=False,  # it may be of anything
        text=True, layers=False, by_place=False,
    ),
)
# fmt: on

FORMATS = {suffix: kind for kind in KINDS for suffix in kind.suffixes}
_CALLED = [kind.called for kind in KINDS]
TAKEN = f"{', '.join(_CALLED[:-1])} or {_CALLED[-1]}"
