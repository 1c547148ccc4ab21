"""How much of a month's rain counts, by a named method."""

from __future__ import annotations

import numpy as np

from geoturf.rules.water import Climate
from geoturf.units import INCH_M


def effective_rain_m(rules: Climate, rain_m: np.ndarray, need_m: np.ndarray) -> np.ndarray:
    """Rain that counts, metres a month. ``rain_m``: (12,); ``need_m``: (..., 12),
    evapotranspiration of the cover, which only ``tr21`` looks at. Result like ``need_m``; never
    more than the rain.

    scs: P (125 - 0.2 P) / 125 up to 250 mm, then 125 + 0.1 P (mm; FAO CROPWAT). fao: 0.6 P - 10 up
    to 70 mm, then 0.8 P - 24 (dependable rain, FAO/AGLW; from memory). tr21: SF (0.70917 P^0.82416
    - 0.11556) 10^(0.02426 ETc) (inches; NEH 623 eq. 2-84, from memory), at most ETc."""
    rain = np.asarray(rain_m)
    need = np.asarray(need_m)
    rain_mm = rain * 1000
    if rules.effective_rain == "none":
        counted = np.zeros(12)
    elif rules.effective_rain == "fixed":
        counted = rules.effective_share * rain_mm
    elif rules.effective_rain == "scs":
        scarce = rain_mm * (125 - 0.2 * rain_mm) / 125
        counted = np.where(rain_mm <= 250, scarce, 125 + 0.1 * rain_mm)
    elif rules.effective_rain == "fao":
        counted = np.where(rain_mm <= 70, 0.6 * rain_mm - 10, 0.8 * rain_mm - 24)
    else:
        return _tr21_m(rules.soil_store_m / INCH_M, rain / INCH_M, need / INCH_M)
    return np.broadcast_to(np.clip(counted, 0, rain_mm) / 1000, need.shape)


def _tr21_m(store_in: float, rain_in: np.ndarray, need_in: np.ndarray) -> np.ndarray:
    soil = 0.531747 + 0.295164 * store_in - 0.057697 * store_in**2 + 0.003804 * store_in**3
    counted = soil * (0.70917 * rain_in**0.82416 - 0.11556) * 10 ** (0.02426 * need_in)
    return np.clip(counted, 0, np.minimum(rain_in, need_in)) * INCH_M
