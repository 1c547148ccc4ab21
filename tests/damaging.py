"""Good files of every kind that is read, and changes to their bytes as a bad disk, a broken copy or
an editor makes them."""

from __future__ import annotations

import shutil
import zipfile
from dataclasses import dataclass
from pathlib import Path

import geopandas
import pandas as pd
import pyogrio
from shapely.geometry import box

LOTS = 3
_EAST, _NORTH = 250_000.0, 4_070_000.0  # UTM 11 north, metres
_ONE_FILE = (
    "gpkg", "fgb", "geojson", "gml", "kml", "parquet", "csv", "dxf", "zip", "kmz",
)  # fmt: skip
_SHAPEFILE = ("shp", "shx", "dbf", "prj", "cpg")
BID = """\
[[layers]]
path = "{name}"
site = "site"
{crs}
[layout]
cut_step = "1 in"
min_piece_length = "3 ft"

[materials]
base_depth = "4 in"
soil = "loam"

[products.plain]
title = "Turf, plain"
price = "2.10 USD/ft^2"
roll_lengths = ["100 ft", "50 ft"]

[price]
sales_tax = "8.25 %"
"""


@dataclass(frozen=True)
class Change:
    """``how`` the bytes change from ``at`` (taken round the file's length) on: ``count`` of them
    cut out, or set to, or pushed apart by, bytes of one value; or all after it lost."""

    how: str
    at: int
    count: int = 1
    byte: int = 0


HOWS = ("end", "drop", "set", "push", "double")


def damaged(content: bytes, changes: list[Change]) -> bytes:
    for one in changes:
        at = one.at % max(1, len(content))
        upto = min(len(content), at + one.count)
        middle = {
            "end": b"",
            "drop": b"",
            "set": bytes([one.byte]) * (upto - at),
            "push": bytes([one.byte]) * one.count + content[at:upto],
            "double": 2 * content[at:upto],
        }[one.how]
        rest = b"" if one.how == "end" else content[upto:]
        content = content[:at] + middle + rest
    return content


def good(folder: Path) -> dict[str, tuple[str, ...]]:
    """Three lots in every format, a bid for each; the files that make up each layer."""
    lots = _lots()
    for suffix in ("gpkg", "shp", "fgb", "geojson", "gml"):
        pyogrio.write_dataframe(lots, folder / f"lots.{suffix}")
    (folder / "lots.xsd").unlink()
    pyogrio.write_dataframe(lots.to_crs(4326), folder / "lots.kml", driver="KML")
    pyogrio.write_dataframe(lots, folder / "lots.gdb", driver="OpenFileGDB")
    lots.to_parquet(folder / "lots.parquet")
    text = pd.DataFrame(lots.drop(columns="geometry")).assign(WKT=lots.geometry.to_wkt())
    text.to_csv(folder / "lots.csv", index=False)
    (folder / "lots.dxf").write_text(_drawing(lots))
    _zipped(folder / "lots.zip", folder, [f"lots.{one}" for one in _SHAPEFILE])
    _zipped(folder / "lots.kmz", folder, ["lots.kml"])
    parts = {f"lots.{one}": (f"lots.{one}",) for one in _ONE_FILE}
    parts["lots.shp"] = tuple(f"lots.{one}" for one in _SHAPEFILE)
    inside = sorted((folder / "lots.gdb").iterdir())
    parts["lots.gdb"] = tuple(f"lots.gdb/{path.name}" for path in inside if path.stat().st_size)
    for name in parts:
        (folder / f"{name}.toml").write_text(_bid(name))
    return parts


def _lots() -> geopandas.GeoDataFrame:
    x, y = _EAST, _NORTH
    shapes = [
        box(x, y, x + 18, y + 12),
        box(x + 40, y, x + 58, y + 15) - box(x + 45, y + 5, x + 50, y + 9),
        box(x + 80, y, x + 89, y + 7),
    ]
    columns = {"site": ["a", "B 2", "é"], "slope_pct": [1.5, 2.0, 3.0]}
    return geopandas.GeoDataFrame(columns, geometry=shapes, crs=26911)


def _bid(name: str) -> str:
    crs = ""
    if name.endswith((".csv", ".dxf")):
        crs = 'crs = "EPSG:26911"\n'
    text = BID.format(name=name, crs=crs)
    if name.endswith(".dxf"):  # drawn lines have no columns
        return text.replace('site = "site"\n', "")
    return text


def _drawing(lots: geopandas.GeoDataFrame) -> str:
    """Closed lines of a drawing in metres (group codes of AutoCAD's DXF reference)."""
    pairs: list[tuple[int, object]] = [(0, "SECTION"), (2, "HEADER"), (9, "$INSUNITS"), (70, 6)]
    pairs += [(0, "ENDSEC"), (0, "SECTION"), (2, "ENTITIES")]
    for lot in lots.geometry:
        ring = list(lot.exterior.coords)[:-1]
        pairs += [(0, "LWPOLYLINE"), (8, "LAWN"), (90, len(ring)), (70, 1)]
        pairs += [(code, value) for xy in ring for code, value in zip((10, 20), xy, strict=True)]
    pairs += [(0, "ENDSEC"), (0, "EOF")]
    return "".join(f"{code}\n{value}\n" for code, value in pairs)


def _zipped(path: Path, folder: Path, names: list[str]) -> None:
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        for name in names:
            archive.write(folder / name, name)


def sent(good_ones: Path, folder: Path, part: str, changes: list[Change]) -> None:
    """The good files in ``folder``, with ``part`` of them damaged."""
    shutil.copytree(good_ones, folder, dirs_exist_ok=True)
    (folder / part).write_bytes(damaged((good_ones / part).read_bytes(), changes))
