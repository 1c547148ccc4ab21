"""Who a map is for, and what it therefore holds."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import pandas as pd

from geoturf import tables


@dataclass(frozen=True)
class Audience:
    """What one reader gets. Words, columns and colourings are named one by one (None: all there
    are), so that what is added to the report later stays in the house until it is named here."""

    title: str  # after the bid's name
    note: str  # below the page's heading
    findings: bool
    pieces: bool  # pieces, their rolls, seams
    water: bool
    instead: str = ""  # what others get, where turf is laid; ends the note
    totals: tuple[str, ...] | None = None
    columns: tuple[str, ...] | None = None  # of areas and sites, without the unit's suffix
    colourings: tuple[str, ...] | None = None

    def picked(self, totals: Iterable[tuple[str, str]]) -> list[tuple[str, str]]:
        return [row for row in totals if self.totals is None or row[0].strip() in self.totals]

    def trimmed(self, table: pd.DataFrame) -> pd.DataFrame:
        """``table`` with the columns that this reader gets."""
        if self.columns is None:
            return table
        carried = tables.kept(table)
        shown = [c for c in table.columns if _stem(c) in self.columns and c not in carried]
        out = table[shown]
        out.attrs = {"decimals": table.attrs["decimals"]}
        return out

    def said(self, any_turf: bool) -> str:
        """The note in full."""
        instead = self.instead if any_turf else ""
        return f"{self.note}{instead}." if self.note else ""

    def shows(self, colouring: str) -> bool:
        return self.colourings is None or colouring in self.colourings


def _stem(name: str) -> str:
    stem, _, suffix = name.rpartition("_")
    if suffix in ("ft2", "m2", "ft", "m", "deg", "pct"):
        return stem
    return name


OFFICE = Audience(
    title="office map",
    note="Office map: it holds cost, waste and the bound. Not for the client",
    instead=", who gets client/map.html",
    findings=True,
    pieces=True,
    water=True,
)
CLIENT = Audience(
    title="map and prices",
    note="",
    findings=False,
    pieces=False,
    water=False,
    totals=(
        "sites",
        "areas",
        "ground area",
        "price",
        "price of this turf",
        "price of turf on every area",
        "NOT PRICED",
    ),
    columns=(
        *("site", "area", "areas", "phase", "product", "use"),
        *("pile_bearing", "ground_area", "perimeter"),
        *("edge_paving", "edge_building", "edge_shared", "edge_open"),
        "price",
    ),
    colourings=("product", "phase", "price"),
)
