"""How turf is laid, step by step. All of it is common practice of the trade; what a maker asks and
local codes come before it."""

from __future__ import annotations

from typing import NamedTuple

from geoturf.model import Result


class Step(NamedTuple):
    """``short`` stands on every sheet, ``text`` once."""

    short: str
    text: str


_REST = Step(
    "Rest two hours",
    "Unroll the pieces and let them lie two hours before they are fitted, so that folds go out and "
    "the turf takes the day's warmth.",
)
_CHECK = Step(
    "check labels",
    "Hold each piece's label against its sheet: number, size, pile. Lay nothing that differs.",
)
_LINE = Step(
    "snap the line",
    "Find the marks by tape from the corners the sheet names, measure the length between them as a "
    "check, snap the chalk line. Lay piece 1 to it, then the others in the order of their numbers, "
    "each part of an area to a line of its own; check other seams by their distance from the line.",
)
_PILE = Step(
    "grain one way",
    "All pile leans as the arrow shows. A piece is never turned, not even end for end.",
)
_CUT = Step(
    "cut from the back",
    "Cut from the back, between rows of stitches. Trim selvage before pieces are joined, ends and "
    "sides to the border when they lie: each piece has some to spare.",
)
_STRETCH = Step(
    "stretch",
    "Stretch each piece along the pile and across it before it is fastened; leave no wrinkle to "
    "the "
    "infill.",
)
_TAPE = Step(
    "tape half under each side",
    "Pieces butt, without overlap or gap. Tape half under each, adhesive as its maker says, pile "
    "kept "
    "out of the joint, weighed down until it holds.",
)
_NAILS = Step(
    "no countersunk nails on seams",
    "Border first, then the field. Brush the pile off each head. Nails on seams are driven flush "
    "and "
    "never countersunk, which pulls the seam open.",
)
_GLUE = Step(
    "glue a dry floor",
    "Spread adhesive on a dry, clean floor, lay into it while it is open, roll it down.",
)
_INFILL = Step(
    "broom before and after infill",
    "Broom the pile up, spread the infill in thin dry layers, broom again after each.",
)


def laying(result: Result) -> list[Step]:
    """The steps of this bid's work."""
    q = result.takeoff.areas.sum()
    by_case = (
        (_REST, True),
        (_CHECK, True),
        (_LINE, len(result.plan.seams) > 0),
        (_PILE, True),
        (_CUT, True),
        (_STRETCH, True),
        (_TAPE, q["taped"] > 0),
        (_NAILS, q["nails"] + q["seam_nails"] > 0),
        (_GLUE, q["glued"] > 0),
        (_INFILL, q["infill_middle"] > 0),
    )
    return [step for step, wanted in by_case if wanted]
