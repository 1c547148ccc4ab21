"""Ground that is too much for one run."""

from __future__ import annotations

import shapely

from geoturf.errors import InputError
from geoturf.model import PLACE, Finding, Ground
from geoturf.rules import LimitRules
from geoturf.units import System


def refuse_too_large(ground: Ground, limits: LimitRules, told: System) -> None:
    """Raises `InputError`, naming the largest area, where more ground is priced than the
    limit, or an area that is laid has more border."""
    _refuse_ragged(ground, limits, told)
    size = ground.areas["ground_area_m2"].to_numpy(float)
    if not len(size) or size.sum() <= limits.turf_m2:
        return
    largest = ground.areas.iloc[int(size.round(3).argmax())]
    total = told.land(float(size.sum()))
    each = told.land(float(size.max()))
    what = f"{total} are to be priced ({each} here), more than {told.land(limits.turf_m2)}"
    mend = "leave out what is no turf, price it in several bids, or raise [limits] turf"
    place = {name: str(largest[name]) for name in PLACE}
    raise InputError(Finding("error", "too-large", f"{what}: {mend}", **place))


def _refuse_ragged(ground: Ground, limits: LimitRules, told: System) -> None:
    """Raises `InputError` for the laid area of most border, where that is over the limit."""
    laid = ground.areas.iloc[ground.laid]
    border = shapely.length(laid["laid"].to_numpy())
    if not len(laid) or border.max() <= limits.border_m:
        return
    most = int(border.round(3).argmax())
    long = told.distance(float(border[most]))
    what = f"one area has {long} of border, more than {told.distance(limits.border_m)}"
    mend = "make its parts areas of their own, estimate it, or raise [limits] border"
    place = {name: str(laid[name].iloc[most]) for name in PLACE}
    raise InputError(Finding("error", "too-large", f"{what}: {mend}", **place))
