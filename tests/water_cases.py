"""Small invented parks for the water tests: areas a reader can add up in the head."""

import numpy as np
import pandas as pd

from geoturf.bid import make_bid
from geoturf.model import Ground
from geoturf.units import FT2_M2

ETO_51_1 = [
    "0.9 in",
    "1.7 in",
    "3.3 in",
    "4.8 in",
    "6.7 in",
    "7.8 in",
    "8.4 in",
    "7.1 in",
    "5.2 in",
    "3.2 in",
    "1.4 in",
    "0.6 in",
]


def parks(*areas_ft2, **columns):
    """Ground of one area for each number of square feet; ``columns`` (one value or one an area)
    over the defaults."""
    n = len(areas_ft2)
    table = {
        "site": [f"Park {k}" for k in range(n)],
        "area": ["lawn"] * n,
        "cover": "cool_season_lawn",
        "irrigation": "spray",
        "district": "",
        "use": "",
        "product": "turf60",
        "file": "parks.geojson",
        "layer": "parks",
        "feature": [str(k) for k in range(n)],
        "frame": 0,
        "slope_pct": 0.0,
        "ground_area_m2": np.array(areas_ft2, dtype=float) * FT2_M2,
        "surface_area_m2": np.array(areas_ft2, dtype=float) * FT2_M2,
    }
    areas = pd.DataFrame(table | columns, index=pd.RangeIndex(n))
    empty = pd.DataFrame(columns=["role", "frame", "geometry", "file", "layer", "feature"])
    return Ground(areas, empty, pd.DataFrame(), None, "", ())


def water_rules(**given):
    """The rules of a [water] table, by default with a year's ETo of 51.1 in and no rain, few points
    on the curve, and no limit to how late a conversion pays back."""
    table = {"climate": {"eto": ETO_51_1}, "curve_points": 5, "longest_payback": 0} | given
    return make_bid(
        {"layers": [{"path": "parks.geojson"}], "water": table}, file="parks.toml"
    ).water


def turf_price(ground, per_ft2=10.0):
    return pd.Series(ground.areas["surface_area_m2"] / FT2_M2 * per_ft2)
