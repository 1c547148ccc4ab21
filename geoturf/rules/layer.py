"""Layers: where polygons come from and what their columns mean."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from geoturf.rules.base import Length, Rules, rule

Role = Literal["turf", "parcel", "building", "paving", "exclude", "street", "view"]


class Layer(Rules):
    """One layer of a bid. Paths are taken from the bid file's own folder."""

    path: str = Field(description="a GIS file, a zip, a folder or a glob")
    name: str = rule("", "how the layer is called in findings; the file's name if empty")
    layer: str = rule("", "the layer inside a file that holds several")
    role: Role = rule("turf", "turf and parcel are priced; the others tell edges and exclusions")
    crs: str = rule("", "states the CRS of a file that has none, or overrides a wrong one (EPSG:2272)")
    sigma_m: Length = rule("0 ft", "positional accuracy of the source, one sigma of a vertex in each axis")
    product: str = rule("", "product of features that name none; the bid's first product if empty")
    phase: str = rule("", "phase of features that name none")
    site: str = rule("", "site of features that name none")
    where: dict[str, str | int | float | bool] = rule({}, "keep only the features whose columns have these values")
    columns: dict[str, str] = rule({}, 'columns that do not map by name, such as site = "LOT_NO"')
