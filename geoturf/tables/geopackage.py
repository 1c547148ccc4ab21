"""layout.gpkg: areas, pieces, seams and edges in the CRS of the input; and its areas as
GeoParquet."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from geoturf import columns, pile, plane
from geoturf.model import Result
from geoturf.records import Column
from geoturf.staying import everywhere
from geoturf.tables.lots import areas
from geoturf.tables.making import laid
from geoturf.tables.turf import pieces

if TYPE_CHECKING:
    import geopandas

GEOPACKAGE = "layout.gpkg"


def write_places(result: Result, folder: Path) -> None:
    """layout.gpkg and areas.parquet."""
    for name, frame in _layers(result):  # one at a time: together they are large
        _write_layer(frame, folder / GEOPACKAGE, name)
        if name == "areas":
            frame.to_parquet(folder / "areas.parquet", index=False)
        del frame


def _write_layer(frame: geopandas.GeoDataFrame, path: Path, name: str) -> None:
    import pyogrio
    import pyogrio.errors

    pyogrio.set_gdal_config_options(
        {"OGR_CURRENT_DATE": "1970-01-01T00:00:00.000Z"}
    )  # equal runs, equal bytes
    try:
        pyogrio.write_dataframe(
            frame,
            path,
            layer=name,
            driver="GPKG",
            append=path.exists(),
        )
    except (pyogrio.errors.DataSourceError, pyogrio.errors.DataLayerError) as fault:
        raise OSError(f"{path.name}: {fault}") from fault
    finally:
        pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": None})


def _layers(result: Result) -> Iterator[tuple[str, geopandas.GeoDataFrame]]:
    """The layers areas, pieces, seams, edges in the CRS of the first turf layer, with the ids of
    the CSVs."""
    import geopandas

    result = everywhere(result)
    land = result.ground.areas
    plan = result.plan
    runs = result.edges.runs
    piece = plan.pieces
    seam = plan.seams
    placed: dict[str, Callable[[], tuple[pd.DataFrame, Any, Any, bool]]] = {
        "areas": lambda: (areas(result), np.arange(len(land)), land["geometry"], False),
        "pieces": lambda: (
            pieces(result),
            piece["area_index"],
            pile.rectangles(
                *(piece[c].to_numpy() for c in ("u0", "u1", "v0", "v1", "bearing_deg"))
            ),
            True,
        ),
        "seams": lambda: (
            _stretches("seams", result, seam),
            seam["area_index"],
            pile.segments(*(seam[c].to_numpy() for c in ("u0", "v0", "u1", "v1", "bearing_deg"))),
            True,
        ),
        "edges": lambda: (
            _stretches("edges", result, runs),
            runs["area_index"],
            runs["geometry"],
            False,
        ),
    }
    if not laid(result):
        del placed["pieces"], placed["seams"]
    for name, parts in placed.items():
        table = _in_source_crs(result, *parts())
        crs = result.ground.source_crs
        yield name, geopandas.GeoDataFrame(table, geometry="geometry", crs=crs)


def _stretches(layer: str, result: Result, rows: pd.DataFrame) -> pd.DataFrame:
    """Seams or boundary runs: whose they are, of which kind, how long."""
    land = result.ground.areas[["site", "area"]].iloc[rows["area_index"]]
    values: dict[str, Column] = {"site": land["site"].to_numpy(), "area": land["area"].to_numpy()}
    values |= {"kind": rows["kind"], "length": rows["length_m"]}
    return columns.table_of(f"{GEOPACKAGE} {layer}", result.bid.units, values)


def _in_source_crs(
    result: Result, table: pd.DataFrame, at: Any, geometry: Any, laid: bool
) -> pd.DataFrame:
    from geoturf import ground

    at = np.asarray(at, dtype=np.int64)
    geometry = np.asarray(geometry, dtype=object)
    if laid:
        geometry = plane.from_laid(result.ground.areas, at, geometry)
    frame = result.ground.areas["frame"].to_numpy()[at]
    return table.assign(
        geometry=ground.to_crs(result.ground.frames, frame, geometry, result.ground.source_crs)
    )
