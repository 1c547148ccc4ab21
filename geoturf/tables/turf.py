"""Tables of the turf: pieces, rolls, the cut plan, left-overs, the order of work, the order."""

from __future__ import annotations

from collections.abc import Iterable
from decimal import Decimal

import numpy as np
import pandas as pd

from geoturf import columns, cuts, pile
from geoturf.model import Result
from geoturf.records import Column
from geoturf.tables.making import waste_pct


def pieces(result: Result) -> pd.DataFrame:
    plan = result.plan.pieces
    land = result.ground.areas
    at = plan["area_index"].to_numpy()
    lengths = ("along", "across", "length", "width")
    values: dict[str, Column] = {
        name: land[name].to_numpy()[at] for name in ("site", "area", "product")
    }
    values |= {name: plan[f"{name}_m"] for name in lengths}
    values |= {
        "piece": plan["piece"],
        "roll": plan["roll"],
        "pile_bearing_deg": plan["bearing_deg"],
    }
    values["weight"] = _piece_kg(result)
    if (
        plan["cut_u_m"].notna().any()
    ):  # along and length are the left edge's; the chalk lines' ends on the right edge
        values["along_right"] = plan["along_m"] + plan["start_slant_m"]
        values["length_right"] = plan["length_m"] + plan["end_slant_m"] - plan["start_slant_m"]
    return columns.table_of("pieces", result.bid.units, values)


def rolls(result: Result) -> pd.DataFrame:
    plan = result.plan.rolls
    plain = ("roll", "phase", "product", "pieces", "pattern")
    values: dict[str, Column] = {name: plan[name] for name in plain}
    values |= {name: plan[f"{name}_m"] for name in ("width", "length", "used", "left_over")}
    values["weight"] = plan["width_m"] * plan["length_m"] * _kg_per_m2(result, plan["product"])
    return columns.table_of("rolls", result.bid.units, values)


def _piece_kg(result: Result) -> np.ndarray:
    """What each piece weighs as cut."""
    pieces = result.plan.pieces
    turf = result.ground.areas["product"].to_numpy()[pieces["area_index"].to_numpy()]
    weight: np.ndarray = pile.cut_m2(pieces) * _kg_per_m2(result, turf)
    return weight


def _kg_per_m2(result: Result, turf: Iterable[object]) -> np.ndarray:
    """Pile, backing and coating of each turf of a row of names."""
    weights = {name: one.weight_kg_per_m2() for name, one in result.bid.products.items()}
    return np.array([weights[str(name)] for name in turf], float)


def work_order(result: Result) -> pd.DataFrame:
    """Lots as they are worked. Crew and day are left to a calendar."""
    rows = result.plan.lots
    land = result.ground.areas
    if rows is None:
        raise ValueError("the cut plan has no order of work")
    site = land["site"].astype(str).to_numpy()[result.plan.pieces["area_index"].to_numpy()]
    weight = pd.Series(_piece_kg(result)).groupby(site).sum()
    counts = ("drawn", "opened", "finished", "open", "most")
    values: dict[str, Column] = {name: rows[name] for name in ("site", "phase", "pieces")}
    values |= {f"rolls_{name}": rows[name] for name in counts}
    values |= {"order": np.arange(1, len(rows) + 1), "crew": [""] * len(rows)}
    values |= {"day": values["crew"], "weight": weight.reindex(rows["site"], fill_value=0.0)}
    return columns.table_of("work_order", result.bid.units, values)


def open_rolls(result: Result) -> pd.DataFrame:
    """What each number of open rolls comes to; the last row may open any number."""
    rows = result.plan.trade
    if rows is None:
        raise ValueError("no numbers of open rolls are compared")
    free = rows[rows["open_rolls"] == 0].iloc[0]
    needed = float(result.plan.pools["needed_m2"].sum())
    limits = rows["open_rolls"].tolist()
    own = result.bid.cuts.open_rolls
    counts = {
        "rolls": "rolls",
        "rolls_most": "most",
        "rolls_drawn_most": "drawn_most",
    }
    values: dict[str, Column] = {name: rows[column] for name, column in counts.items()}
    values |= {
        "open_rolls": ["any" if limit == 0 else str(limit) for limit in limits],
        "bought": rows["bought_m2"],
        "waste_pct": waste_pct(rows["bought_m2"], needed),
        "more_waste_pct": 100 * (rows["bought_m2"] - free["bought_m2"]) / needed,
        "turf_and_seams": [Decimal(str(round(money, 2))) for money in rows["money"]],
        "rolls_drawn_median": rows["drawn_median"],
        "chosen": ["yes" if limit == own else "no" for limit in limits],
    }
    return columns.table_of("open_rolls", result.bid.units, values)


def cut_plan(result: Result) -> pd.DataFrame:
    pools = result.plan.pools
    values: dict[str, Column] = {
        name: pools[name] for name in ("phase", "product", "pool", "pieces", "rolls", "status")
    }
    turf = ("bought", "needed", "bound", "strip_bound", "cut_bound", "by_hand", "square")
    values |= {name: pools[f"{name}_m2"] for name in turf}
    values |= {
        "gap_pct": waste_pct(values["bought"], values["bound"]),
        "cut_gap_pct": waste_pct(values["bought"], values["cut_bound"]),
        "waste_pct": waste_pct(values["bought"], values["needed"]),
    }
    if result.plan.estimate is not None:
        values["bought_sigma"] = pools["sigma_m2"]
    return columns.table_of("cut_plan", result.bid.units, values)


def left_overs(result: Result) -> pd.DataFrame:
    stock = result.plan.stock
    values: dict[str, Column] = {name: stock[name] for name in ("roll", "phase", "product")}
    values |= {name: stock[f"{name}_m"] for name in ("width", "length", "along", "across")}
    return columns.table_of("left_overs", result.bid.units, values)


def order(result: Result) -> pd.DataFrame:
    """Turf as it is ordered: rolls or lengths of one size, by product, dye lot and phase, products
    and phases as they come. Dye lots of a product are numbered through its phases: what two phases
    take may come from two lots."""
    rolls = result.plan.rolls.assign(lot=cuts.of_rolls(result.plan, result.ground))
    rolls = rolls[rolls["source"] == "bought"]
    keys = ["product", "phase", "lot"]
    lots = rolls[keys].drop_duplicates().groupby("product", sort=False).cumcount() + 1
    found = rolls.groupby([*keys, "width_m", "length_m"], sort=False, as_index=False).size()
    found = found.merge(rolls.loc[lots.index, keys].assign(dye_lot=lots), on=keys)
    place = {name: k for k, name in enumerate(dict.fromkeys(rolls["product"]))}
    found = found.assign(place=found["product"].map(place)).sort_values(
        ["place", "dye_lot", "width_m", "length_m"], ascending=[True, True, False, False]
    )
    days = result.bid.dates
    turf = result.bid.products
    weight = found["product"].map({name: one.weight_kg_per_m2() for name, one in turf.items()})
    values: dict[str, Column] = {
        "product": found["product"],
        "dye_lot": found["dye_lot"].astype(str),
        "phase": found["phase"],
        "deliver_on": [getattr(days.get(name), "deliver_on", None) for name in found["phase"]],
        "width": found["width_m"],
        "length": found["length_m"],
        "count": found["size"],
        "weight": weight * found["width_m"] * found["length_m"] * found["size"],
    }
    return columns.table_of("buyer/order", result.bid.units, values)
