"""layout.gpkg: areas, pieces, seams and edges in the CRS of the input."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from geoturf import columns, pile, plane
from geoturf.model import Result
from geoturf.records import Column
from geoturf.staying import everywhere
from geoturf.tables.lots import areas
from geoturf.tables.turf import pieces

GEOPACKAGE = "layout.gpkg"


def write_geopackage(result: Result, path: Path) -> None:
    """Layers areas, pieces, seams, edges in the CRS of the first turf layer, with the ids of the
    CSVs."""
    import geopandas
    import pyogrio
    import pyogrio.errors

    pyogrio.set_gdal_config_options(
        {"OGR_CURRENT_DATE": "1970-01-01T00:00:00.000Z"}
    )  # equal runs, equal bytes
    try:
        for name, table in _layers(result).items():
            frame = geopandas.GeoDataFrame(table, geometry="geometry", crs=result.ground.source_crs)
            pyogrio.write_dataframe(frame, path, layer=name, driver="GPKG", append=path.exists())
    except (pyogrio.errors.DataSourceError, pyogrio.errors.DataLayerError) as fault:
        raise OSError(f"{path.name}: {fault}") from fault
    finally:
        pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": None})


def _layers(result: Result) -> dict[str, pd.DataFrame]:
    result = everywhere(result)
    land, plan, runs = result.ground.areas, result.plan, result.edges.runs
    piece, seam = plan.pieces, plan.seams
    placed = {
        "areas": (areas(result), np.arange(len(land)), land["geometry"], False),
        "pieces": (
            pieces(result),
            piece["area_index"],
            pile.rectangles(
                *(piece[c].to_numpy() for c in ("u0", "u1", "v0", "v1", "bearing_deg"))
            ),
            True,
        ),
        "seams": (
            _stretches("seams", result, seam),
            seam["area_index"],
            pile.segments(*(seam[c].to_numpy() for c in ("u0", "v0", "u1", "v1", "bearing_deg"))),
            True,
        ),
        "edges": (
            _stretches("edges", result, runs),
            runs["area_index"],
            runs["geometry"],
            False,
        ),
    }
    return {name: _in_source_crs(result, *parts) for name, parts in placed.items()}


def _stretches(layer: str, result: Result, rows: pd.DataFrame) -> pd.DataFrame:
    """Seams or boundary runs: whose they are, of which kind, how long."""
    land = result.ground.areas[["site", "area"]].iloc[rows["area_index"]]
    values: dict[str, Column] = {"site": land["site"].to_numpy(), "area": land["area"].to_numpy()}
    values |= {"kind": rows["kind"], "length": rows["length_m"]}
    return columns.table(f"{GEOPACKAGE} {layer}", result.bid.units, values)


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
