"""A layer on its way from what a file holds to a `SourceLayer`: columns and geometry, not yet a table."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import geopandas
import numpy as np

from geoturf.model import SourceLayer
from geoturf.read.texts import Texts

Columns = dict[str, Texts | np.ndarray]


@dataclass(frozen=True)
class Part:
    """``columns``: ``feature`` (n,) str, geoturf's own others as texts or (n,) floats; the rest as in `SourceLayer`."""

    name: str
    role: str
    file: str
    layer: str
    sigma_m: float
    columns: Columns
    geometry: np.ndarray
    crs: Any
    correlation_m: float = 0.0

    def __len__(self) -> int:
        return len(self.geometry)

    def spread(self) -> dict[str, np.ndarray]:
        """Each column row by row."""
        return {name: one.each() if isinstance(one, Texts) else one for name, one in self.columns.items()}

    def done(self) -> SourceLayer:
        frame = geopandas.GeoDataFrame(self.spread(), geometry=self.geometry, crs=self.crs, copy=False)
        return SourceLayer(self.name, self.role, self.file, self.layer, self.sigma_m, frame, self.correlation_m)
