"""What lies around the areas, placed in every frame it comes near."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pandas as pd
import shapely

from geoturf import plane
from geoturf.ground import frames, geodetic
from geoturf.model import Frames, Source, SourceLayer

#: how far from a frame's areas a feature still counts, by role; views at any distance, the nearest of each layer
REACH_M = {"building": 15.0, "paving": 15.0, "exclude": 15.0, "street": 200.0, "parcel": 1.0}
COLUMNS = ("role", "frame", "geometry", "file", "layer", "feature", "part")
_LARGE = 500  # vertices; a larger feature (a whole city's paving in one) is cut to what a frame needs of it


def place(source: Source, made: Frames, frame: np.ndarray, box: np.ndarray) -> pd.DataFrame:
    """The context table of a bid (see `geoturf.model.Ground`). ``frame``, ``box``: of each area, box in degrees.

    Boxes are met on trees of degrees; then each pair of frame and feature is projected, all at once. Parts of a multipart
    feature are placed by themselves. Parcels count as context too: they tell neighbours and whether an area leaves its parcel.
    """
    need = frames.boxes(frame, box)
    tables = [
        _of_layer(layer, made, need, row) for layer in source.layers if layer.role != "turf" for row in _used(made)
    ]
    tables = [table for table in tables if len(table)]
    if not tables:
        return pd.DataFrame({name: [] for name in COLUMNS}).astype({"frame": int, "part": int})
    return pd.concat(tables, ignore_index=True)


def _used(made: Frames) -> Iterator[int]:
    yield from np.unique(made.geographic_id).tolist()


def _of_layer(layer: SourceLayer, made: Frames, need: np.ndarray, geographic: int) -> pd.DataFrame:
    """One layer in the frames that are built on one geographic CRS."""
    own = np.flatnonzero(made.geographic_id == geographic)
    parts, feature = shapely.get_parts(layer.table.geometry.to_numpy(), return_index=True)
    wkt = geodetic.wkt(layer.table.crs)
    degrees = geodetic.change_datum(
        geodetic.to_degrees(shapely.get_coordinates(parts), wkt),
        geodetic.geographic_of(wkt),
        made.geographics[geographic],
    )
    fine = np.isfinite(degrees).all(axis=1)
    parts = shapely.set_coordinates(parts.copy(), np.where(fine[:, None], degrees, 0.0))
    reach = REACH_M.get(layer.role)
    at, part = _nearest(parts, need[own]) if reach is None else _within(parts, need[own], reach)
    part_geometry = _cut(parts[part], need[own[at]], reach)
    there = ~shapely.is_empty(part_geometry)
    at, part, part_geometry = at[there], part[there], part_geometry[there]
    names = layer.table["feature"].to_numpy()[feature[part]]
    return pd.DataFrame(
        {
            "role": layer.role,
            "frame": own[at],
            "geometry": _projected(part_geometry, made, own[at]),
            "file": layer.file,
            "layer": layer.name or layer.layer,
            "feature": names,
            "part": part - np.searchsorted(feature, feature)[part],
        }
    )


def _projected(geometries: np.ndarray, made: Frames, frame: np.ndarray) -> np.ndarray:
    vertex = np.repeat(frame, shapely.get_num_coordinates(geometries))
    flat = frames.project(shapely.get_coordinates(geometries), made, vertex)
    return plane.sound(shapely.set_coordinates(geometries.copy(), flat))


def _within(parts: np.ndarray, need: np.ndarray, reach_m: float) -> tuple[np.ndarray, np.ndarray]:
    """Pairs (row of ``need``, row of ``parts``) whose boxes come within reach, sorted."""
    at, part = shapely.STRtree(parts).query(_grown(need, reach_m), predicate="intersects")
    order = np.lexsort((part, at))
    return at[order], part[order]


def _nearest(parts: np.ndarray, need: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """The nearest part to the middle of each box. Degrees of longitude are shortened to those of latitude first."""
    if not len(parts):
        return np.zeros(0, int), np.zeros(0, int)
    middle = np.column_stack([need[:, 0] + need[:, 2], need[:, 1] + need[:, 3]]) / 2
    square = [float(np.cos(np.radians(middle[:, 1].mean()))), 1.0]
    scaled = shapely.transform(parts, lambda xy: xy * square)
    at, part = shapely.STRtree(scaled).query_nearest(shapely.points(middle * square), all_matches=False)
    return at, part


def _cut(parts: np.ndarray, need: np.ndarray, reach_m: float | None) -> np.ndarray:
    """Very large parts, cut to a box well beyond reach."""
    large = np.flatnonzero(shapely.get_num_coordinates(parts) > _LARGE)
    if reach_m is None or not len(large):
        return parts
    out = parts.copy()
    out[large] = plane.overlaid(shapely.intersection, parts[large], _grown(need[large], 2 * reach_m))
    return out


def _grown(box: np.ndarray, reach_m: float) -> np.ndarray:
    """Boxes in degrees, wider by some metres."""
    high = reach_m / 110_500.0
    wide = high / np.maximum(np.cos(np.radians(box[:, [1, 3]])).min(axis=1), 0.01)
    return shapely.box(box[:, 0] - wide, box[:, 1] - high, box[:, 2] + wide, box[:, 3] + high)
