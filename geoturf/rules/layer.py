"""Layers: where polygons come from and what their columns mean."""

from __future__ import annotations

import difflib
from collections.abc import Iterable
from typing import Any, Literal, NamedTuple

from pydantic import Field, field_validator

from geoturf import units
from geoturf.rules.base import Length, Rules, rule

Role = Literal[
    "turf", "parcel", "building", "paving", "exclude", "street", "view", "fence", "planter"
]
PRICED = ("turf", "parcel")


def nearest(word: str, words: Iterable[object]) -> str:
    """`` (did you mean 'x'?)``, whatever the case of the letters, or nothing."""
    folded = {str(w).casefold(): str(w) for w in reversed(list(words))}
    match = difflib.get_close_matches(word.casefold(), folded, n=1, cutoff=0.5)
    if match:
        return f" (did you mean '{folded[match[0]]}'?)"
    return ""


class Column(NamedTuple):
    """A column geoturf knows by name. Numbers outside ``low`` .. ``high`` are told and taken as not
    given."""

    kind: Literal["text", "number"]
    what: str
    low: float = 0.0
    high: float = 0.0


COLUMNS: dict[str, Column] = {
    "site": Column("text", "the property or lot an area lies on"),
    "area": Column("text", "the area's name within its site"),
    "phase": Column("text", "sites delivered together; they share rolls"),
    "product": Column("text", "the turf, a name under [products]"),
    "pile_bearing_deg": Column("number", "compass bearing the pile leans to", -360, 360),
    "view": Column("text", "areas seen together lean one way"),
    "slope_pct": Column("number", "slope in percent, rise over run", 0, 300),
    "aspect_deg": Column("number", "compass bearing of the fall line, downhill", -360, 360),
    "elevation_m": Column("number", "height in metres", -500, 9000),
    "elevation_ft": Column("number", "height in feet (read into elevation_m)", -1640, 29530),
    "use": Column("text", "what the area is for: lawn, pets, play, putting ..."),
    "cover": Column("text", "what grows there now"),
    "irrigation": Column("text", "how it is watered now"),
    "district": Column("text", "water district"),
    "caps": Column("number", "irrigation heads to cap", 0, 1e6),
    "dig_depth_m": Column("number", "how deep it is dug, in metres", 0, 2),
    "dig_depth_in": Column("number", "how deep it is dug, in inches", 0, 80),
    "base_depth_m": Column("number", "depth of its base, compacted, in metres", 0, 2),
    "base_depth_in": Column("number", "depth of its base, compacted, in inches", 0, 80),
    "model": Column("text", "house model, for lots that repeat"),
    "work_order": Column("number", "the lot's place in the order of work", 0, 1e9),
    "price_book": Column("text", "whose prices hold there, a name under [books]"),
}


class Layer(Rules):
    """One layer of a bid. Paths are taken from the bid file's own folder."""

    path: str = Field(description="a GIS file, a zip, a folder or a glob")
    name: str = rule("", "how the layer is called in findings; the file's name if empty", source="")
    layer: str = rule(
        "", 'the layer inside a file that holds several, or "*" for all of them', source=""
    )
    role: Role = rule(
        "turf", "turf and parcel are priced; the others tell edges and exclusions", source=""
    )
    crs: str = rule(
        "",
        "states the CRS of a file that has none, or overrides a wrong one (EPSG:2272)",
        source="",
    )
    sigma_m: Length = rule(
        "0 ft", "positional accuracy of the source, one sigma of a corner in each axis", source=""
    )
    correlation_m: Length = rule(
        "0 ft",
        "how far errors of corners go together (spherical variogram); 0: each by itself",
        source="",
    )
    unit: str = rule(
        "",
        'unit that a DXF is drawn in ("ft", "m", "mm"), where its header names none or a wrong one',
        source="",
    )
    z: str = rule(
        "",
        'unit of the heights in its geometry ("m", "ft"), to take elevations from them',
        source="",
    )
    product: str = rule(
        "", "product of features that name none; the bid's first product if empty", source=""
    )
    phase: str = rule("", 'phase of features that name none; "1" if empty', source="")
    site: str = rule(
        "",
        "site of features that name none; the layer's name and the feature's number if empty",
        source="",
    )
    price_book: str = rule(
        "", "price book of features that name none; the bid's own [price] if empty", source=""
    )
    where: dict[str, str | int | float | bool] = rule(
        {}, "keep only the features whose columns have these values", source=""
    )
    keep: tuple[str, ...] | None = rule(
        None, "columns carried through into the report; the bid's own keep if not given", source=""
    )
    columns: dict[str, str] = rule(
        {}, 'columns that do not map by name, such as site = "LOT_NO"', source=""
    )

    @field_validator("columns")
    @classmethod
    def _known_columns(cls, value: dict[str, str]) -> dict[str, str]:
        faults = [f"'{name}'{nearest(name, COLUMNS)}" for name in value if name not in COLUMNS]
        if faults:
            raise ValueError(
                f"no column of geoturf is called {', '.join(faults)}; it knows {', '.join(COLUMNS)}"
            )
        return value

    @field_validator("z", "unit")
    @classmethod
    def _a_length(cls, value: str) -> str:
        if value:
            try:
                length = units.unit_factor(value)[1] == units.DIMENSIONS["length"][0]
            except units.UnitError:
                length = False
            if not length:
                raise ValueError(f"'{value}' is no unit of length, such as m or ft")
        return value

    @field_validator("path", mode="before")
    @classmethod
    def _path_stands(cls, value: Any) -> Any:
        if isinstance(value, str) and not value.strip():
            raise ValueError("is empty; it names a GIS file, a zip, a folder or a glob")
        return value
