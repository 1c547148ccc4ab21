"""Rules of edges and fasteners (common practice; no published standard for spacing was found)."""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal

from pydantic import model_validator

from geoturf.rules.base import COMMON, Length, Rules, key_of, rule

if TYPE_CHECKING:
    pass

EdgeKind = Literal["paving", "building", "shared", "open", "fence", "planter"]
Edging = Literal["board", "steel", "nailer"]


class EdgeRules(Rules):
    """How boundary runs are told apart and fastened."""

    tolerance_m: Length = rule(
        "3 in", "how near a context border must run to count as the area's edge"
    )
    perimeter_spacing_m: Length = rule(
        "4 in", "nails along the perimeter", low="3 in", high="4 in", source=COMMON
    )
    field_spacing_m: Length = rule(
        "18 in", "nails in the field, both ways", low="12 in", high="24 in", source=COMMON
    )
    seam_spacing_m: Length = rule(
        "2 in", "nails along seams, where seams are nailed", low="1 in", high="2 in", source=COMMON
    )
    seam_method: Literal["tape", "nails"] = rule(
        "tape", "seams by tape and adhesive, or by nails", source=COMMON
    )
    edging_on: tuple[EdgeKind, ...] = rule((), 'edges that get an edging, such as ["open"]')
    edging: dict[EdgeKind, Edging] = rule(
        {"fence": "nailer", "planter": "steel"},
        "what edging each kind of edge gets: a board, steel strip, or a nailer along a fence; a "
        "board"
        " where none is named",
        source=COMMON,
    )

    def edged_with(self, edging: Edging) -> tuple[EdgeKind, ...]:
        """The kinds of edge that get an edging."""
        return tuple(kind for kind in self.edging_on if self.edging.get(kind, "board") == edging)

    @model_validator(mode="after")
    def _spacings_exist(self) -> EdgeRules:
        for name in ("perimeter_spacing_m", "field_spacing_m", "seam_spacing_m"):
            if getattr(self, name) <= 0:
                raise ValueError(f"{key_of(name)} must be more than zero")
        return self
