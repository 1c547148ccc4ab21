"""What layout and bounds are told of the rolls that are stocked: metres by name, which compiled
functions take as they are. All are floats: an int among them would compile everything again."""

from __future__ import annotations

from typing import NamedTuple


class RollSizes(NamedTuple):
    """For the kernels that lay turf (`geoturf.layout.kernel`): one stocked roll under the rules."""

    width: float
    usable: float  # width
    ends: float  # both end allowances
    step: float  # that is cut to
    side: float  # allowance
    least_width: float  # of a piece
    seam: float  # price, m2 of turf a metre
    cross: float  # price of a cross seam, m2 of turf
    longest: float  # piece, as laid
    a_metre: float  # steps, 1/m
    least_length: float  # of a piece
    narrow: float  # strips under this width are
    odd: float  # what an odd strip weighs, m2 of turf


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
