"""Ground that is too much for one run."""

from __future__ import annotations

from geoturf.errors import InputError
from geoturf.model import PLACE, Finding, Ground
from geoturf.rules import LimitRules
from geoturf.units import System


def refuse_too_large(ground: Ground, limits: LimitRules, told: System) -> None:
    """Raises `InputError`, naming the largest area, where more ground is priced than the limit."""
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
