"""A small invented bid, stage by stage, for the rooms that work on tables: three lots in two
phases, made without the stages."""

from __future__ import annotations

import numpy as np
import pandas as pd
import shapely

from geoturf.model import CutPlan, Edges, Frames, Ground
from geoturf.rules import Product

FT = 0.3048
SQUARE = {"start_slant_m": 0.0, "end_slant_m": 0.0, "cut_u_m": np.nan}


def ground(rows: list[dict]) -> Ground:
    """Areas from rows of site, phase, width_ft, length_ft and any other column of Ground.areas;
    flat rectangles."""
    text = dict.fromkeys(
        ("use", "view", "cover", "irrigation", "district", "model", "file", "layer", "feature"), ""
    )
    made = []
    for number, row in enumerate(rows):
        shape = shapely.box(0, 0, row["width_ft"] * FT, row["length_ft"] * FT)
        plain = {k: v for k, v in row.items() if k not in ("width_ft", "length_ft")}
        measures = dict.fromkeys(("plan_area_m2", "ground_area_m2", "surface_area_m2"), shape.area)
        made.append(
            {"site": "lot 1", "phase": "1", "area": str(number), "caps": np.nan, "frame": 0, "geometry": shape, "laid": shape}
            | text | {"product": "turf60", "perimeter_m": shape.length, "area_tolerance_m2": 0.0} | measures | plain
        )  # fmt: skip
    zero = np.zeros(1)
    frames = Frames(zero, zero, zero, zero.astype(int), ("",))
    empty = pd.DataFrame(columns=["role", "frame", "geometry", "file", "layer", "feature"])
    return Ground(
        pd.DataFrame(made),
        empty,
        pd.DataFrame(columns=["site", "area", "reason", "area_m2"]),
        frames,
        "",
    )


def edges(
    land: Ground, spacing_ft: float = 4 / 12, field_ft: float = 1.5, glued: tuple[str, ...] = ()
) -> Edges:
    """All borders open, one closed run an area."""
    areas = land.areas
    nailed = ~areas["product"].isin(glued)
    runs = pd.DataFrame(
        {
            "area_index": range(len(areas)),
            "kind": "open",
            "neighbour": -1,
            "closed": True,
            "length_m": areas["perimeter_m"],
            "laid_m": areas["perimeter_m"],
        }
    )
    totals = pd.DataFrame(
        {
            "edge_paving_m": 0.0,
            "edge_building_m": 0.0,
            "edge_shared_m": 0.0,
            "edge_open_m": areas["perimeter_m"],
        }
    )
    totals["perimeter_fasteners"] = (
        np.ceil(areas["perimeter_m"] / (spacing_ft * FT) - 1e-6).astype(int) * nailed
    )
    totals["field_fasteners"] = (
        np.ceil(areas["surface_area_m2"] / (field_ft * FT) ** 2 - 1e-6).astype(int) * nailed
    )
    totals["fastened_m"] = areas["perimeter_m"] * nailed
    return Edges(runs, totals)


def plan(land: Ground, roll_ft: float = 15.0) -> CutPlan:
    """Each area in strips across its whole length, each strip a length off a roll of its own."""
    pieces, seams, chosen, rolls = [], [], [], []
    for index, area in land.areas.iterrows():
        wide, long = area["geometry"].bounds[2] / FT, area["geometry"].bounds[3] / FT
        count = int(np.ceil(wide / roll_ft))
        for nth in range(count):
            name = f"r{len(rolls) + 1}"
            width = min(roll_ft, wide - nth * roll_ft)
            cut = {"length_m": np.ceil(long + 0.5) * FT, "width_m": width * FT}
            pieces.append(
                {
                    "piece": f"p{len(pieces) + 1}",
                    "area_index": index,
                    "roll": name,
                    "along_m": 0.0,
                    "across_m": 0.0,
                    **SQUARE,
                }
                | cut
            )
            rolls.append(
                {"roll": name, "phase": area["phase"], "product": area["product"], "pool": area["phase"], "width_m": roll_ft * FT,
                 "length_m": cut["length_m"], "used_m": cut["length_m"], "pieces": 1, "left_over_m": 0.0, "pattern": 1,
                 "source": "bought"}
            )  # fmt: skip
        bought = count * np.ceil(long + 0.5) * roll_ft * FT**2
        chosen.append(
            {
                "seam_m": (count - 1) * long * FT,
                "cross_seams": 0,
                "pieces": count,
                "turf_bought_m2": bought,
            }
        )
        seams += [
            {"area_index": index, "kind": "seam", "length_m": long * FT} for _ in range(count - 1)
        ]
    nothing = pd.DataFrame()
    return CutPlan(
        pd.DataFrame(pieces), pd.DataFrame(rolls), nothing, nothing, pd.DataFrame(chosen),
        pd.DataFrame(seams, columns=["area_index", "kind", "length_m"]),
    )  # fmt: skip


PRODUCTS = {"turf60": Product(), "turf80": Product(pile_weight="80 oz/yd^2", price="2.60 USD/ft^2")}

LOTS = [
    {"site": "lot 1", "phase": "1", "area": "front", "width_ft": 30, "length_ft": 40},
    {"site": "lot 1", "phase": "1", "area": "back", "width_ft": 45, "length_ft": 50, "use": "pet"},
    {"site": "lot 2", "phase": "1", "area": "front", "width_ft": 22, "length_ft": 35, "caps": 6.0},
    {
        "site": "lot 3",
        "phase": "2",
        "area": "front",
        "width_ft": 15,
        "length_ft": 60,
        "product": "turf80",
    },
]
