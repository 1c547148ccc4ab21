"""A layer on its way from what a file holds to a `SourceLayer`: columns and geometry, not yet a
table."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import geopandas
import numpy as np

from geoturf.model import KEPT, SourceLayer
from geoturf.read.texts import Texts
from geoturf.rules.layer import COLUMNS


@dataclass(frozen=True)
class Columns:
    """geoturf's columns of a layer of n features.

    ``feature``: (n,) str, what the file calls each; ``texts`` and ``numbers``: of geoturf's own, by
    name; ``kept``: what else the bid keeps, by the bid's name. Numbers are (n,) floats, NaN where
    none is given.
    """

    feature: np.ndarray
    texts: dict[str, Texts]
    numbers: dict[str, np.ndarray]
    kept: dict[str, Texts] = field(default_factory=dict)

    def __len__(self) -> int:
        return len(self.feature)

    def fill(self, name: str, values: np.ndarray) -> None:
        """Numbers where none is stated."""
        stated = self.numbers.get(name)
        if stated is not None:
            values = np.where(np.isnan(stated), values, stated)
        self.numbers[name] = values

    def spread(self) -> dict[str, np.ndarray]:
        """Each column row by row, in the order of `COLUMNS`."""
        given = self.numbers | {name: texts.each() for name, texts in self.texts.items()}
        kept = {KEPT + name: texts.each() for name, texts in self.kept.items()}
        own = {name: given[name] for name in COLUMNS if name in given}
        return {"feature": self.feature} | own | kept


@dataclass(frozen=True)
class Part:
    """A layer's `Columns`, and the rest as in `SourceLayer`."""

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

    def done(self) -> SourceLayer:
        columns = self.columns.spread()
        frame = geopandas.GeoDataFrame(
            columns,
            geometry=self.geometry,
            crs=self.crs,
            copy=False,
        )
        place_in_bid = (self.name, self.role, self.file, self.layer, self.sigma_m)
        return SourceLayer(*place_in_bid, frame, self.correlation_m)
