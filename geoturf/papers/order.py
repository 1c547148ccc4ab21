"""buyer/order.pdf: what is ordered, in the units that it is bought by, for when; no money."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Any

import pandas as pd

from geoturf import tables
from geoturf.model import Result
from geoturf.papers import sender
from geoturf.rules.items import ITEMS, shown
from geoturf.units import FOOT_M, POUND_KG, SHOWN, powers, round_up

_MOST_PHASES = 5  # that stand side by side


def data(result: Result) -> dict[str, Any]:
    """What ``type/order.typ`` takes."""
    bid = result.bid
    heads, rows = _materials(result)
    return {
        **sender.head(bid),
        "client": {"name": "", "lines": []},  # an order goes to a supplier
        "title": f"Order: {bid.name}",
        "running": " · ".join(part for part in (bid.bidder.name, bid.name) if part),
        "name": bid.name,
        "turf": list(_turf(result)),
        "deliveries": _deliveries(result),
        "heads": heads,
        "materials": rows,
        "notes": list(_notes(result)),
    }


def _named(result: Result, column: str) -> str:
    """A column of order.csv in the bid's units."""
    return f"{column}_{SHOWN['mass' if column == 'weight' else 'length'][result.bid.units].suffix}"


def _length(result: Result, m: float) -> str:
    """To a hundredth of a foot or millimetre, without noughts at its end."""
    us = result.bid.units == "us"
    text = f"{m / FOOT_M:,.2f}" if us else f"{m:,.3f}"
    return f"{text.rstrip('0').rstrip('.')} {'ft' if us else 'm'}"


def _weight(result: Result, kg: float) -> str:
    us = result.bid.units == "us"
    if us:
        return f"{kg / POUND_KG:,.0f} lb"
    return f"{kg:,.0f} kg"


def _turf(result: Result) -> Iterator[dict[str, Any]]:
    """A block a dye lot: which, for when, and its rolls by size."""
    bid = result.bid
    order = tables.order(result)
    wide, long, heavy = (_named(result, name) for name in ("width", "length", "weight"))
    unit = SHOWN["length"][bid.units].unit
    for (name, lot), rows in order.groupby(["product", "dye_lot"], sort=False):
        turf = bid.products[str(name)]
        phase = str(rows["phase"].iloc[0])
        counts = rows["count"]
        lengths = rows[long] * rows["count"]
        yield {
            "title": f"{powers(turf.title)}, dye lot {lot}",
            "for": _for(result, phase),
            "sizes": [
                [f"{count:,}", f"{_bare(length)} {unit}", f"{_bare(width)} {unit}"]
                for count, length, width in zip(counts, rows[long], rows[wide], strict=True)
            ],
            "sum": f"{counts.sum():,} {_kind(turf.sold_by, int(counts.sum()))}, "
            f"{_bare(lengths.sum())} {unit}, {rows[heavy].sum():,.0f} "
            f"{SHOWN['mass'][bid.units].unit}",
        }


def _bare(value: float) -> str:
    return f"{value:,.4f}".rstrip("0").rstrip(".")


def _kind(sold_by: str, count: int) -> str:
    word = "roll" if sold_by == "roll" else "length"
    if count == 1:
        return word
    return f"{word}s"


def _for(result: Result, phase: str) -> str:
    """Which phase, and when to deliver where that is known."""
    dates = result.bid.dates.get(phase)
    day = sender.day(dates.deliver_on if dates else None, result.bid.units)
    return f"phase {phase}" + (f", to be delivered on {day}" if day else "")


def _deliveries(result: Result) -> list[list[str]]:
    """A row a phase: its turf, what it weighs, on how many trucks."""
    order = tables.order(result)
    heavy = _named(result, "weight")
    kg = SHOWN["mass"][result.bid.units]
    load = result.bid.materials.delivery_truck_kg * kg.factor
    sums = order.groupby("phase", sort=False)[["count", heavy]].sum()
    return [
        [
            _for(result, str(phase)),
            f"{count:,.0f}",
            f"{weight:,.0f} {kg.unit}",
            f"{round_up(weight, load):,}",
        ]
        for phase, count, weight in sums.itertuples()
    ]


def _materials(result: Result) -> tuple[list[str], list[list[str]]]:
    """A row an item that is bought in bags, boxes, rolls or by measure, with each phase's purchase
    units where phases are few."""
    items = shown(result.takeoff.items, result.bid.units)
    bought = items["key"].map({key: one.kind == "material" for key, one in ITEMS.items()})
    items = items[bought & (items["key"] != "turf") & (items["order"] > 0)]
    pools, total = (items[items["scope_kind"] == kind] for kind in ("pool", "bid"))
    phases = list(dict.fromkeys(pools["phase"].astype(str)))
    side_by_side = phases if 1 < len(phases) <= _MOST_PHASES else []
    orders = pools.assign(phase=pools["phase"].astype(str)).groupby(["key", "phase"])["order"].sum()
    rows = [
        [
            row["item"],
            row["order_unit"],
            _size(row),
            *(f"{int(orders.get((row['key'], phase), 0)):,}" for phase in side_by_side),
            f"{row['order']:,}",
            _pallets(result, row),
        ]
        for _, row in total.iterrows()
    ]
    return ["item", "unit", "of", *(f"phase {p}" for p in side_by_side), "all", "pallets"], rows


def _size(row: pd.Series) -> str:
    """What a package holds; nothing where it is the measure itself."""
    if math.isclose(row["order_size"], 1.0) or row["unit"] == row["order_unit"]:
        return ""
    unit = "" if row["unit"] == "each" else powers(row["unit"])
    return f"{_bare(round(row['order_size'], 2))} {unit}".strip()


def _pallets(result: Result, row: pd.Series) -> str:
    """Of what comes in bags."""
    item = ITEMS[row["key"]]
    if item.package != "bag" or item.unit != "kg":
        return ""
    kg = row["order"] * item.size(result.bid.materials)
    return f"{round_up(kg, result.bid.materials.pallet_kg):,}"


def _notes(result: Result) -> Iterator[str]:
    """What the supplier has to keep to, and what is less than it sells."""
    rolls = result.plan.rolls
    rolls = rolls[rolls["source"] == "bought"]
    if len(rolls):
        yield (
            "Rolls of one dye lot number come from one dye lot of the mill, marked so on each roll."
        )
    load = _weight(result, result.bid.materials.delivery_truck_kg)
    pallet = _weight(result, result.bid.materials.pallet_kg)
    yield f"Weights are of pile and backing; a truck is taken to carry {load}, a pallet {pallet}."
    bought = rolls.groupby("product", sort=False)["length_m"].sum()
    for name, length_m in bought.items():
        turf = result.bid.products[str(name)]
        if turf.dye_lot_m is not None:
            yield f"{powers(turf.title)}: a dye lot holds {_length(result, turf.dye_lot_m)}."
        if turf.least_order_m is not None and length_m < turf.least_order_m:
            least = turf.least_order_m
            more = turf.least_order_m - length_m
            yield (
                f"{powers(turf.title)}: the least order is {_length(result, least)}, "
                f"{_length(result, more)} more than stands here."
            )
