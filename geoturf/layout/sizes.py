"""What the bounds are told of the rolls that are stocked: metres by name, which compiled functions
take as they are. All are floats: an int among them would compile everything again."""

from __future__ import annotations

from typing import NamedTuple


class RectangleSizes(NamedTuple):
    """For the bound that holds for any rectangles (`geoturf.layout.covers`)."""

    usable: float  # the greatest usable width
    full: float  # the least usable width, less the side allowance
    side: float  # side allowance
    ends: float  # both end allowances
    one_width: float  # 1 where one width is stocked, else 0
    step: float  # that widths are cut to; 0 where not all that are cut are whole numbers of it


class StripSizes(NamedTuple):
    """For the bound that holds for strips from border to border (`geoturf.layout.corners`)."""

    usable: float  # the greatest usable width
    full: float  # the least usable width, less the side allowance
    side: float  # side allowance
    ends: float  # both end allowances
    steepest: float  # slant of an end, du/dv
