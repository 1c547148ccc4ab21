"""Rules of the ground: measure, slope, parcels, double pay."""

from __future__ import annotations

from typing import Literal

from geoturf.rules.base import COMMON, Area, Fraction, Length, Rules, rule


class GroundRules(Rules):
    """How the ground is measured and what is noticed about it."""

    terrain: str = rule(
        "",
        "a terrain raster (GeoTIFF) to take elevation, slope and aspect from; needs the terrain "
        "extra",
    )
    ellipsoid: Literal["wgs84", "own"] = rule(
        "wgs84",
        "what layers on an old datum are measured on: the ellipsoid of WGS 84, through PROJ's "
        "transformation, or their own",
        source="EPSG Dataset by PROJ; its accuracy is told",
    )
    stretch_from: Fraction = rule(
        "0.5 %",
        "the laying plane, in which turf, seams, nails and edging are measured, is stretched along "
        "the fall line where surface "
        "exceeds ground by more; without aspect_deg an area falls along its long side",
    )
    steep_pct: float = rule(
        33.0,
        "slope in percent above which machines and local rules may not bear the work",
        low=10.0,
        high=50.0,
        source=COMMON,
    )
    sliver_m2: Area = rule("1 ft^2", "areas under this are told")
    thin_m: Length = rule("2 in", "areas with a part narrower than this on the mean are told")
    widest_m: Length = rule(
        "60 mi",
        "areas further across than this are left out by name: no property is",
        high="600 mi",
    )
    large_m2: Area = rule("100 acre", "areas over this are told")
    duplicate_tolerance_m: Length = rule(
        "1 in", "areas whose borders agree this closely are told as duplicates"
    )


class ParcelRules(Rules):
    """From a parcel to the lawn on it: parcel less buildings, paving, planters and exclusions."""

    building_setback_m: Length = rule("0 ft", "kept clear along buildings")
    paving_setback_m: Length = rule("0 ft", "kept clear along paving")
    boundary_setback_m: Length = rule("0 ft", "kept clear along the parcel's own line")
    min_width_m: Length = rule(
        "2 ft", "narrower necks and strips are left out", low="0 ft", high="10 ft"
    )
    min_area_m2: Area = rule("20 ft^2", "smaller remnants are left out")
    fill_holes_m2: Area = rule("1 ft^2", "smaller holes are filled")
    split: bool = rule(
        True,
        "tell front, side and back yards apart where streets, drives or neighbours show the street "
        "side",
    )
