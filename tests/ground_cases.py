"""Sources made by hand for the rooms that work on layers: no file is read."""

from __future__ import annotations

from collections.abc import Sequence

import geopandas
import numpy as np

from geoturf import ground
from geoturf.model import Ground, Source, SourceLayer
from geoturf.rules import GroundRules

FT = 0.3048


def layer(
    shapes: Sequence, crs, role: str = "turf", sigma_m: float = 0.0, name: str = "", **columns
) -> SourceLayer:
    """A layer of shapes in ``crs``; features are numbered, each a site of its own unless ``site``
    says otherwise."""
    numbers = [str(k + 1) for k in range(len(shapes))]
    given = {"feature": numbers, "site": [f"site {n}" for n in numbers]} | columns
    table = geopandas.GeoDataFrame(given, geometry=np.array(shapes, dtype=object), crs=crs)
    return SourceLayer(name or role, role, f"{name or role}.gpkg", name or role, sigma_m, table)


def source(*layers: SourceLayer) -> Source:
    return Source(layers, (), (), 0)


def measured(shapes: Sequence, crs, rules: GroundRules | None = None, **columns) -> Ground:
    return ground.measure(source(layer(shapes, crs, **columns)), rules or GroundRules())


def moved_to(shapes: Sequence, crs, other) -> np.ndarray:
    """The same shapes in another CRS, vertex by vertex."""
    return geopandas.GeoSeries(np.array(shapes, dtype=object), crs=crs).to_crs(other).to_numpy()
