"""What lies around the areas, placed in every frame it comes near."""

from __future__ import annotations

import numpy as np
import pandas as pd
import shapely

from geoturf import plane
from geoturf.ground import frames, geodetic
from geoturf.model import Frames, Source, SourceLayer

#: how far from a frame's areas a feature is drawn beside them
DRAWN_M = 15.0
#: how far it still counts, by role; others as far as they are asked for; views at any distance, the
#: nearest of each layer
REACH_M = {
    "street": 200.0,
    "parcel": 1.0,
    "view": None,
}
COLUMNS = ("role", "frame", "geometry", "file", "layer", "feature", "part")
_LARGE = 100  # vertices
_LONG_DEG = 0.002  # some 200 m
_HALVINGS = 24
_METRES_PER_DEGREE = 110_500.0  # a degree of latitude is nowhere shorter


def place(
    source: Source, made: Frames, frame: np.ndarray, box: np.ndarray, near_m: float = DRAWN_M
) -> pd.DataFrame:
    """The context table of a bid (see `geoturf.model.Ground`). ``frame``, ``box``: of each area,
    box in degrees; ``near_m``: how far off buildings, paving and the like are asked for. In a city
    each is near many lots, and is kept once for each.

    Boxes are met on trees of degrees; then each pair of frame and feature is projected, all at
    once. Parts of a multipart feature are placed by themselves. Parcels count as context too: they
    tell neighbours and whether an area leaves its parcel.
    """
    need = frames.boxes(frame, box)
    around = [layer for layer in source.layers if layer.role != "turf"]
    measured_in = np.unique(made.geographic_id)
    tables = [_of_layer(layer, made, need, row, near_m) for layer in around for row in measured_in]
    tables = [table for table in tables if len(table)]
    if not tables:
        return pd.DataFrame({name: [] for name in COLUMNS}).astype({"frame": int, "part": int})
    return pd.concat(tables, ignore_index=True)


def _of_layer(
    layer: SourceLayer, made: Frames, need: np.ndarray, geographic: int, near_m: float
) -> pd.DataFrame:
    """One layer in the frames that are built on one geographic CRS."""
    own = np.flatnonzero(made.geographic_id == geographic)
    parts, feature = _parts_in_degrees(layer, made.geographics[geographic], made.shifts)
    reach = REACH_M.get(layer.role, near_m)
    if reach is None:
        at, part = _nearest(parts, need[own])
    else:
        at, part = _within(parts, need[own], reach)
    first_part = np.searchsorted(feature, feature)  # of its feature
    return pd.DataFrame(
        {
            "role": layer.role,
            "frame": own[at],
            "geometry": _projected(parts[part], made, own[at]),
            "file": layer.file,
            "layer": layer.name or layer.layer,
            "feature": layer.table["feature"].to_numpy()[feature[part]],
            "part": part - first_part[part],
        }
    )


def _parts_in_degrees(
    layer: SourceLayer, geographic: str, shifts: dict[str, geodetic.Shift]
) -> tuple[np.ndarray, np.ndarray]:
    """The parts of a layer's features in degrees, none of many vertices, and the feature of each.
    What has no place on the earth is left out."""
    parts, feature = shapely.get_parts(layer.table.geometry.to_numpy(), return_index=True)
    xy, of = shapely.get_coordinates(parts, return_index=True)
    wkt = geodetic.wkt(layer.table.crs)
    degrees = geodetic.degrees_in(xy, wkt, geographic, shifts)
    lost = ~np.isfinite(degrees).all(axis=1)
    nowhere = np.bincount(of, lost, minlength=len(parts)) > 0
    there = shapely.set_coordinates(parts[~nowhere], degrees[~nowhere[of]])
    return _halved(there, feature[~nowhere])


def _halved(parts: np.ndarray, feature: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Parts over `_LONG_DEG` halved until none has more than `_LARGE` vertices: a city's paving in
    one polygon would else be carried whole into every frame. The cuts are borders within the
    feature, which nothing looks at."""
    for _ in range(_HALVINGS):
        box = shapely.bounds(parts).reshape(-1, 4)
        sides = box[:, 2:] - box[:, :2]
        long = (sides > _LONG_DEG).any(axis=1)
        large = long & (shapely.get_num_coordinates(parts) > _LARGE)
        if not large.any():
            break
        whole = parts[large]
        boxes = _half_boxes(box[large])
        halves = [plane.overlaid(shapely.intersection, whole, half) for half in boxes]
        new, owner = shapely.get_parts(np.concatenate(halves), return_index=True)
        dimension = np.tile(shapely.get_dimensions(whole), 2)
        same = shapely.get_dimensions(new) == dimension[owner]
        of = np.tile(feature[large], 2)[owner]
        parts = np.concatenate([parts[~large], new[same]])
        feature = np.concatenate([feature[~large], of[same]])
    order = np.argsort(feature, kind="stable")
    return parts[order], feature[order]


def _half_boxes(box: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Both halves of boxes (k, 4), which are cut across their longer side."""
    west, south, east, north = box.T
    x = (west + east) / 2
    y = (south + north) / 2
    wide = east - west > north - south
    first = shapely.box(west, south, np.where(wide, x, east), np.where(wide, north, y))
    second = shapely.box(np.where(wide, x, west), np.where(wide, south, y), east, north)
    return first, second


def _projected(geometries: np.ndarray, made: Frames, frame: np.ndarray) -> np.ndarray:
    vertex = np.repeat(frame, shapely.get_num_coordinates(geometries))
    flat = frames.project(shapely.get_coordinates(geometries), made, vertex)
    return plane.sound(shapely.set_coordinates(geometries.copy(), flat))


def _within(parts: np.ndarray, need: np.ndarray, reach_m: float) -> tuple[np.ndarray, np.ndarray]:
    """Pairs (row of ``need``, row of ``parts``) whose boxes come within reach, sorted."""
    at, part = shapely.STRtree(parts).query(grown(need, reach_m), predicate="intersects")
    order = np.lexsort((part, at))
    return at[order], part[order]


def _nearest(parts: np.ndarray, need: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """The part nearest to the middle of each box, on a Mercator plane: what is nearest there is so
    on the ground."""
    if not len(parts):
        return np.zeros(0, int), np.zeros(0, int)
    middle = (need[:, :2] + need[:, 2:]) / 2
    tree = shapely.STRtree(shapely.transform(parts, _conformal))
    at, part = tree.query_nearest(shapely.points(_conformal(middle)), all_matches=False)
    return at, part


def _conformal(lonlat: np.ndarray) -> np.ndarray:
    lon, lat = np.radians(lonlat).T
    return np.column_stack([lon, np.arcsinh(np.tan(lat))])


def grown(box: np.ndarray, reach_m: float) -> np.ndarray:
    """Boxes in degrees, wider by some metres."""
    high = reach_m / _METRES_PER_DEGREE
    narrowest = np.cos(np.radians(box[:, [1, 3]])).min(axis=1)
    wide = high / np.maximum(narrowest, 0.01)
    west, south, east, north = box.T
    return np.asarray(shapely.box(west - wide, south - high, east + wide, north + high))
