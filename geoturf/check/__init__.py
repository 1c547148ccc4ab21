"""A finished result -> the promises it breaks. Any is a fault of geoturf, never of the input.

An independent look: nothing here comes from the stages. Pieces are laid on the ground again with
shapely, rolls are cut apart again, sums are added up again, money with `decimal`. One finding a
promise, naming the worst or first offender.

    laying.py   pieces against the ground: cover, overlap, width, allowances, seams, pile
    lawns.py    pieces as a crew would lay them: none too narrow or short, no needless cross seam
    alike.py    areas of one shape in the same pieces
    rolling.py  pieces against their rolls: inside, apart, cuttable by straight cuts, one pool a
                roll, lengths as sold
    working.py  the order of work: each lot once, rolls open and drawn on
    estimating.py  what is estimated: no pieces, not under its bound, told
    summing.py  tables against each other: edges, fasteners, pools, bounds, areas, takeoff
    money.py    the price against itself, to the cent
    watering.py the water comparison against itself
    choosing.py its choice against districts, funds and the turf that is laid

`placed.py` reckons where pieces lie; `near.py` cuts turf down to what is about them.
"""

from __future__ import annotations

from collections.abc import Iterable

from geoturf.check import (
    alike,
    choosing,
    estimating,
    lawns,
    laying,
    money,
    rolling,
    summing,
    watering,
    working,
)
from geoturf.model import Finding, Result

__all__ = ["broken_promises"]


def broken_promises(result: Result, sound: Iterable[Result] = ()) -> tuple[Finding, ...]:
    """Every promise that ``result`` breaks; empty for a sound one. ``sound``: results that keep
    theirs: where an area lies as in one of them, coverage, overlaps and seams are not looked at
    again."""
    missing = summing.missing_values(result)
    if missing:  # nothing can be reckoned with what is not there
        return tuple(missing)
    laid = (
        *alike.PROMISES,
        *laying.PROMISES,
        *lawns.PROMISES,
        *rolling.PROMISES,
        *working.PROMISES,
        *summing.LAID,
    )
    whole = (
        *summing.PROMISES,
        *estimating.PROMISES,
        *money.PROMISES,
        *watering.PROMISES,
        *choosing.PROMISES,
    )
    part = estimating.laid_part(result)
    anew = laying.laid_otherwise(part, [estimating.laid_part(one) for one in sound])
    unseen = part if len(anew) == len(part.ground.areas) else estimating.part_of(part, anew)
    broken = [finding for promise in laying.ON_GROUND for finding in promise(unseen)]
    broken += [finding for promise in laid for finding in promise(part)]
    return (*broken, *(finding for promise in whole for finding in promise(result)))
