"""The CSV tables, the GeoPackage and run.json: the output contract, one function a table.

`tables(result)` gives every table as a DataFrame whose numbers are already in the bid's units and
rounded; `write` puts them into a folder. Text that a spreadsheet would take for a formula gets an
apostrophe (OWASP, CSV injection), in text columns only.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterable, Iterator
from decimal import Decimal
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from geoturf import by_plan, columns, cuts, pile, plane, units
from geoturf.bid import assumed
from geoturf.model import KEPT, Result, Risk, kept_columns
from geoturf.records import Column
from geoturf.risk import survey_sigma
from geoturf.rules.items import shown

# Where a spreadsheet may take what follows for a formula: at the start of a cell, which a
# semicolon, a tab or a line's end makes too where the file is opened with other separators;
# full-width signs (U+FF1D and others) count as their narrow ones.
_FORMULA = re.compile(r"(?:^|(?<=[;\t\r\n]))(?=(?:[^\S\t\r\n]|\")*[=+\-@\uff1d\uff0b\uff0d\uff20])")
_NUMBER = re.compile(r"[+-]?[0-9]+(\.[0-9]*)?([eE][+-]?[0-9]+)?")
_BLANK_STARTS = ("\t", "\r", "\n")  # OWASP: these at the start are themselves a way in
_CRLF = "\r\n"  # RFC 4180
_GEOPACKAGE = "layout.gpkg"
_PAID = ("description", "quantity", "unit", "unit_price")  # of a pay item


# ------------------------------------------------------------------------------------------------ the tables


def tables(result: Result) -> dict[str, pd.DataFrame]:
    """Every table of the report by file name without ``.csv``."""
    always = (
        areas,
        sites,
        pieces,
        rolls,
        cut_plan,
        left_overs,
        materials,
        materials_by_site,
        bid,
        build_up,
        schedule,
        schedule_of_prices,
        phases,
        calendar,
    )
    made = [*always, findings]
    made += [work_order] if result.plan.lots is not None else []
    made += [open_rolls] if result.plan.trade is not None else []
    made += [plans] if by_plan.any_plans(result) else []
    made += [alternates] if len(result.price.alternates) else []
    made += [risk, risk_moves] if result.risk is not None else []
    made += [taken] if len(result.ground.taken) else []
    made += [water] if result.water is not None else []
    out = {table.__name__: table(result) for table in made}
    out["client/prices"] = prices(result)
    out["buyer/order"] = order(result)
    return out | {"columns": _columns(out, result.bid.units)}


def areas(result: Result) -> pd.DataFrame:
    land, border, chosen = result.ground.areas, result.edges.totals, result.plan.chosen
    as_given = ("site", "area", "phase", "product", "use", "file", "layer", "feature")
    edges = ("edge_paving", "edge_building", "edge_shared", "edge_open")
    counts = ("perimeter_fasteners", "field_fasteners")
    values: dict[str, Column] = {name: land[name] for name in as_given}
    values |= {
        "pile_bearing_deg": chosen["pile_bearing_deg"],
        "slope_pct": land["slope_pct"].fillna(0),
        "elevation": land["elevation_m"],
        "plan_area": land["plan_area_m2"],
        "ground_area": land["ground_area_m2"],
        "surface_area": land["surface_area_m2"],
        "area_tolerance": land["area_tolerance_m2"],
        "perimeter": land["perimeter_m"],
    }
    values |= {name: border[f"{name}_m"] for name in edges} | {
        name: border[name] for name in counts
    }
    values |= {
        "seam_fasteners": result.takeoff.areas["seam_fasteners"],
        "seam": chosen["seam_m"],
        "cross_seams": chosen["cross_seams"],
        "pieces": chosen["pieces"],
        "piece_area": chosen["piece_area_m2"],
        "turf_bought": chosen["turf_bought_m2"],
        "waste_pct": waste_pct(chosen["turf_bought_m2"], land["surface_area_m2"]),
        "fixed_bearing_pct": 100 * (chosen["free_cost_ratio"].to_numpy() - 1),
        "price": result.price.areas["price"],
    }
    if result.bid.books:
        values["price_book"] = land["price_book"]
    return _with_kept(columns.table("areas", result.bid.units, values), land)


def sites(result: Result) -> pd.DataFrame:
    by_site = _by_site(result)
    money = result.price.sites.set_index("site").reindex(by_site.index)
    values: dict[str, Column] = {
        "site": by_site.index,
        "phase": by_site["phase"],
        "areas": by_site["areas"],
        "ground_area": by_site["ground_area_m2"],
        "surface_area": by_site["surface_area_m2"],
        "perimeter": by_site["perimeter_m"],
        "seam": by_site["seam_m"],
        "pieces": by_site["pieces"],
        "turf_bought": by_site["turf_bought_m2"],
        "waste_pct": waste_pct(by_site["turf_bought_m2"], by_site["surface_area_m2"]),
        "cost": money["cost"],
        "price": money["price"],
        "area_tolerance": np.sqrt(by_site["area_variance"]),
        "price_tolerance": np.sqrt(by_site["price_variance"]),
    }
    if by_plan.any_plans(result):
        values["plan"] = by_site["plan"]
    return _with_kept(columns.table("sites", result.bid.units, values), by_site)


def kept(table: pd.DataFrame) -> list[str]:
    """The columns of ``table`` that were carried through from the input."""
    return list(table.attrs.get("kept", ()))


def _with_kept(table: pd.DataFrame, rows: pd.DataFrame) -> pd.DataFrame:
    """``table`` with the columns that the bid keeps, as ``rows`` have them."""
    names = kept_columns(rows)
    for name in names:
        table[name.removeprefix(KEPT)] = rows[name].to_numpy()
    table.attrs["kept"] = [name.removeprefix(KEPT) for name in names]
    return table


def price_sigma(result: Result) -> np.ndarray:
    """One sigma of each area's price from the source's positional accuracy: its price in proportion
    to its ground."""
    return survey_sigma(result.ground, result.price)


def _by_site(result: Result) -> pd.DataFrame:
    """Sites in the order of their first area."""
    land, chosen = result.ground.areas, result.plan.chosen
    sums = ["ground_area_m2", "surface_area_m2", "perimeter_m"]
    all_columns = pd.concat(
        [land[["site", "phase", *sums]], chosen[["seam_m", "pieces", "turf_bought_m2"]]], axis=1
    )
    grouped = all_columns.groupby("site", sort=False)
    out = grouped[[*sums, "seam_m", "pieces", "turf_bought_m2"]].sum()
    out["areas"] = grouped.size()
    sigma = pd.DataFrame(
        {
            "area_variance": land["area_tolerance_m2"] ** 2,
            "price_variance": price_sigma(result) ** 2,
        }
    )
    out[sigma.columns] = sigma.groupby(land["site"], sort=False).sum()
    land_of_site = land.groupby("site", sort=False)
    for name in ("phase", *kept_columns(land)):
        out[name] = land_of_site[name].agg(lambda some: " + ".join(dict.fromkeys(some)))
    if "plan" in land:
        out["plan"] = land_of_site["plan"].first()
    return out


def pieces(result: Result) -> pd.DataFrame:
    plan, land = result.plan.pieces, result.ground.areas
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
    return columns.table("pieces", result.bid.units, values)


def rolls(result: Result) -> pd.DataFrame:
    plan = result.plan.rolls
    plain = ("roll", "phase", "product", "pieces", "pattern")
    values: dict[str, Column] = {name: plan[name] for name in plain}
    values |= {name: plan[f"{name}_m"] for name in ("width", "length", "used", "left_over")}
    values["weight"] = plan["width_m"] * plan["length_m"] * _kg_per_m2(result, plan["product"])
    return columns.table("rolls", result.bid.units, values)


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
    rows, land = result.plan.lots, result.ground.areas
    if rows is None:
        raise ValueError("the cut plan has no order of work")
    site = land["site"].astype(str).to_numpy()[result.plan.pieces["area_index"].to_numpy()]
    weight = pd.Series(_piece_kg(result)).groupby(site).sum()
    counts = ("drawn", "opened", "finished", "open", "most")
    values: dict[str, Column] = {name: rows[name] for name in ("site", "phase", "pieces")}
    values |= {f"rolls_{name}": rows[name] for name in counts}
    values |= {"order": np.arange(1, len(rows) + 1), "crew": [""] * len(rows)}
    values |= {"day": values["crew"], "weight": weight.reindex(rows["site"], fill_value=0.0)}
    return columns.table("work_order", result.bid.units, values)


def open_rolls(result: Result) -> pd.DataFrame:
    """What each number of open rolls comes to; the last row may open any number."""
    rows = result.plan.trade
    if rows is None:
        raise ValueError("no numbers of open rolls are compared")
    free = rows[rows["open_rolls"] == 0].iloc[0]
    needed = float(result.plan.pools["needed_m2"].sum())
    limits, own = rows["open_rolls"].tolist(), result.bid.cuts.open_rolls
    counts = {"rolls": "rolls", "rolls_most": "most", "rolls_drawn_most": "drawn_most"}
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
    return columns.table("open_rolls", result.bid.units, values)


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
    return columns.table("cut_plan", result.bid.units, values)


def left_overs(result: Result) -> pd.DataFrame:
    stock = result.plan.stock
    values: dict[str, Column] = {name: stock[name] for name in ("roll", "phase", "product")}
    values |= {name: stock[f"{name}_m"] for name in ("width", "length", "along", "across")}
    return columns.table("left_overs", result.bid.units, values)


def materials(result: Result) -> pd.DataFrame:
    """Items by pool, and the bid's total of each."""
    items = shown(result.takeoff.items, result.bid.units)
    items = items[items["scope_kind"].isin(["pool", "bid"])]
    plain = (
        "scope",
        "section",
        "item",
        "unit",
        "order_unit",
        "order_size",
        "order_by_site",
        "net_low",
        "net_high",
        "basis",
    )
    values: dict[str, Column] = {name: items[name] for name in plain}
    values |= {
        "net_quantity": items["net"],
        "allowance_pct": 100 * items["allowance"],
        "order_quantity": items["order"],
    }
    return columns.table("materials", result.bid.units, values)


def materials_by_site(result: Result) -> pd.DataFrame:
    """What each site takes, and what it would order alone; turf as cut from rolls of its own. Only
    pools are bought."""
    items = shown(result.takeoff.items, result.bid.units)
    items = items[items["scope_kind"] == "site"]
    values: dict[str, Column] = {
        name: items[name] for name in ("site", "phase", "item", "unit", "order_unit")
    }
    values |= {"net_quantity": items["net"], "order_alone": items["order"]}
    return columns.table("materials_by_site", result.bid.units, values)


def bid(result: Result) -> pd.DataFrame:
    lines = result.price.lines
    of = zip(lines["key"], lines["product"], lines["book"], strict=True)
    said = [assumed.of_line_in_words(result.bid, *line) for line in of]
    return _as_it_stands("bid", result, lines.assign(assumed=said))


def build_up(result: Result) -> pd.DataFrame:
    steps = result.price.build_up
    told = steps.assign(rate_pct=100 * steps["rate"])
    return _as_it_stands(
        "build_up", result, told if result.bid.books else told.drop(columns="book")
    )


def schedule(result: Result) -> pd.DataFrame:
    """Schedule of values: phases by section, with each section's share of the build-up."""
    rows = result.price.schedule
    return _as_it_stands(
        "schedule", result, rows.rename(columns=lambda name: name.replace(" ", "_"))
    )


def schedule_of_prices(result: Result) -> pd.DataFrame:
    """Pay items of each scope, which adds up to its price."""
    return _as_it_stands("schedule_of_prices", result, result.price.schedule_of_prices)


def phases(result: Result) -> pd.DataFrame:
    rows = result.price.phases
    values: dict[str, Column] = {
        name: rows[name] for name in ("phase", "sites", "areas", "cost", "price")
    }
    each = "price_per_ft2" if result.bid.units == "us" else "price_per_m2"
    values |= {"surface_area": rows["surface_area_m2"], "price_per": rows[each]}
    return columns.table("phases", result.bid.units, values)


def calendar(result: Result) -> pd.DataFrame:
    """When each task of each phase is done."""
    rows = result.calendar.rows
    days = rows[["start", "finish"]].map(lambda day: day.isoformat() if day else "")
    return _as_it_stands("calendar", result, rows.assign(**days))


def risk(result: Result) -> pd.DataFrame:
    """Cost and price that a part of the draws stays within."""
    rows = _drawn(result).percentiles
    percent = {
        "percentile": 100 * rows["percentile"],
        "contingency_pct": 100 * rows["contingency_part"],
    }
    return _as_it_stands("risk", result, rows.assign(**percent))


def risk_moves(result: Result) -> pd.DataFrame:
    """What moves the price most first."""
    rows = _drawn(result).moves
    unit = [_RATES[result.bid.units].get(unit, unit) for unit in rows["unit"]]
    of_rate = rows["table"] == "rates"
    size = [
        units.unit_factor(u)[0] if rate and u else 1.0
        for u, rate in zip(unit, of_rate, strict=True)
    ]
    told = {name: rows[name] / size for name in ("low", "likely", "high")}
    rows = rows.assign(unit=unit, share_pct=100 * rows["share"], **told)
    return _as_it_stands("risk_moves", result, rows)


#: a production rate's SI unit -> the unit it is shown in
_RATES = {
    "us": {"m2/h": "ft^2/h", "m3/h": "yd^3/h", "m/h": "ft/h"},
    "metric": {"m2/h": "m^2/h", "m3/h": "m^3/h"},
}


def _drawn(result: Result) -> Risk:
    if result.risk is None:
        raise ValueError("no ranges are given")
    return result.risk


def plans(result: Result) -> pd.DataFrame:
    """What the lots of each house plan take and cost; those of none last."""
    rows = by_plan.by_plan(result)
    plain = ("plan", "lots", "areas", "pieces", "price_each", "price", "price_least", "price_most")
    values: dict[str, Column] = {name: rows[name] for name in (*plain, "differences")}
    values |= {
        "ground_area": rows["ground_area_m2"],
        "turf_bought": rows["turf_bought_m2"],
        "seam": rows["seam_m"],
    }
    return columns.table("plans", result.bid.units, values)


def alternates(result: Result) -> pd.DataFrame:
    """What each alternate adds or deducts: of the bid, its phases, their lines, its sites."""
    changes = result.price.changes
    if changes is None:
        raise ValueError("no alternates are run")
    return _as_it_stands("alternates", result, changes)


def prices(result: Result) -> pd.DataFrame:
    """What a client may know: the price by pay item, by phase, by house plan and by site, and what
    each alternate adds."""
    price, land = result.price, result.ground.areas
    paid = {name: name for name in _PAID}
    ground = {name: land.groupby(name)["ground_area_m2"].sum() for name in ("phase", "site")}
    of_site = land.groupby("site", sort=False)["phase"].agg(
        lambda phases: " + ".join(dict.fromkeys(phases))
    )
    parts = [
        _prices(
            "item", price.schedule_of_prices.query("scope == 'bid'"), price="extension", **paid
        ),
        _prices("phase", price.phases, phase="phase"),
        *_of_plans(result),
        _prices("site", price.sites, site="site"),
        _prices("alternate", price.alternates, description="alternate", price="difference"),
        pd.DataFrame({"kind": ["price"], "price": [price.totals["price"]]}),
    ]
    rows = pd.concat(parts, ignore_index=True)
    of = {kind: rows[kind].where(rows["kind"] == kind) for kind in ("phase", "site")}
    rows["phase"] = rows["phase"].fillna(rows["site"].map(of_site))
    rows["ground_area"] = of["phase"].map(ground["phase"]).fillna(of["site"].map(ground["site"]))
    rows.loc[rows["kind"] == "price", "ground_area"] = land["ground_area_m2"].sum()
    return _as_it_stands("client/prices", result, rows)


def _of_plans(result: Result) -> list[pd.DataFrame]:
    """What a lot of each house plan costs, and all of them."""
    if not by_plan.any_plans(result):
        return []
    rows = by_plan.by_plan(result)
    told = rows.assign(
        plan=rows["plan"].replace("", by_plan.OF_NONE),
        unit=["lot" if lots == 1 else "lots" for lots in rows["lots"]],
    )
    named = {"description": "plan", "quantity": "lots", "unit": "unit", "unit_price": "price_each"}
    return [_prices("plan", told, **named)]


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
    days, turf = result.bid.dates, result.bid.products
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
    return columns.table("buyer/order", result.bid.units, values)


def _prices(kind: str, rows: pd.DataFrame, price: str = "price", **named: str) -> pd.DataFrame:
    """Prices of a ``kind``, ``named`` by columns of ``rows``."""
    columns_ = {to: rows[name].astype(str).to_numpy() for to, name in named.items()}
    made = pd.DataFrame({"kind": kind, **columns_, "price": rows[price].to_numpy(object)})
    return made.reindex(columns=["kind", "phase", "site", *_PAID, "price"])


def taken(result: Result) -> pd.DataFrame:
    rows = result.ground.taken
    values: dict[str, Column] = {name: rows[name] for name in ("site", "area", "reason")}
    return columns.table("taken", result.bid.units, values | {"taken": rows["area_m2"]})


def water(result: Result) -> pd.DataFrame:
    if result.water is None:
        raise ValueError("no water is compared")
    rows = result.water.table
    plain = ("site", "area", "conversion", "capital", "rebate", "payback_years", "npv")
    values: dict[str, Column] = {name: rows[name] for name in plain}
    values |= {name: rows[f"{name}_m3"] for name in ("baseline", "use", "saved")}
    values |= {"cost_per": rows["cost_per_m3"], "chosen": np.where(rows["chosen"], "yes", "no")}
    return columns.table("water", result.bid.units, values)


def findings(result: Result) -> pd.DataFrame:
    names = [column.base for column in columns.of("findings")]
    values: dict[str, Column] = {
        name: [getattr(finding, name) for finding in result.findings] for name in names
    }
    return columns.table("findings", result.bid.units, values)


def _columns(made: dict[str, pd.DataFrame], system: str) -> pd.DataFrame:
    """What each column of the report says: those of the tables ``made``, and of the GeoPackage's
    own layers."""
    names = {file: set(table.columns) for file, table in made.items()}
    rows = [
        column
        for column in columns.every()
        if column.file not in names or column.name(system) in names[column.file]
        if column.file in names or column.file.startswith(_GEOPACKAGE) or column.file == "columns"
    ]
    values: dict[str, Column] = {
        "file": [c.file if c.file.startswith(_GEOPACKAGE) else f"{c.file}.csv" for c in rows],
        "column": [c.name(system) for c in rows],
        "unit": [c.unit(system) for c in rows],
        "type": [columns.TYPES.get(c.quantity, "number") for c in rows],
        "meaning": [c.meaning for c in rows],
    }
    told = columns.table("columns", system, values)
    return pd.concat([told, *_kept_columns(made)]).sort_values(
        "file", key=lambda files: files.map(_places(told["file"])), kind="stable", ignore_index=True
    )


def _places(files: pd.Series) -> dict[str, int]:
    """Where each file comes first."""
    return {file: place for place, file in enumerate(dict.fromkeys(files))}


def _kept_columns(made: dict[str, pd.DataFrame]) -> Iterator[pd.DataFrame]:
    """What the columns say that were carried through."""
    for file, table in made.items():
        names = kept(table)
        if names:
            says = "As the input has it (keep); several on a site are joined by +"
            whose = {"file": f"{file}.csv", "unit": "", "type": "text", "meaning": says}
            yield pd.DataFrame({"column": names}).assign(**whose)


def _as_it_stands(file: str, result: Result, rows: pd.DataFrame) -> pd.DataFrame:
    """The table of ``file`` from ``rows`` that hold its columns by their own names."""
    wanted = [column.base for column in columns.of(file) if column.base in rows or not column.when]
    return columns.table(file, result.bid.units, {name: rows[name] for name in wanted})


def waste_pct(bought: Any, needed: Any) -> np.ndarray:
    """Percent by which ``bought`` exceeds ``needed`` (0 where nothing is needed)."""
    bought, needed = np.asarray(bought, dtype=float), np.asarray(needed, dtype=float)
    return np.where(needed > 0, 100 * (bought / np.where(needed > 0, needed, 1) - 1), 0.0)


# ------------------------------------------------------------------------------------------------ the few figures at the end


def summary(result: Result) -> list[tuple[str, str]]:
    """The bid on a few lines: word, value."""
    land, pools = result.ground.areas, result.plan.pools
    area = units.SHOWN["area"][result.bid.units]
    bought, bound = pools["bought_m2"].sum(), pools["bound_m2"].sum()
    by_hand = pools["by_hand_m2"].sum()
    rows = [
        ("sites", f"{land['site'].nunique():,}"),
        ("areas", f"{len(land):,}"),
        ("ground area", f"{land['ground_area_m2'].sum() * area.factor:,.0f} {area.unit}"),
        *([("were turf laid on every area:", "")] if result.water is not None else []),
        ("turf bought", f"{bought * area.factor:,.0f} {area.unit}"),
        ("waste over the ground", f"{waste_pct(bought, land['surface_area_m2'].sum()):.1f} %"),
        (
            "  each area alone, by hand",
            f"{waste_pct(by_hand, land['surface_area_m2'].sum()):.1f} %",
        ),
        ("over the proven bound", f"{waste_pct(bought, bound):.1f} %"),
        (
            "rolls and lengths",
            f"{int(pools['rolls'].sum()):,}",
        ),  # bought; left-overs at hand are not
        (_price_of(result), f"{result.price.totals['price']:,} {result.bid.currency}"),
    ]
    rows += _sure(result)
    if (sigma := float(np.sqrt((price_sigma(result) ** 2).sum()))) > 0:
        rows.append(
            ("  one sigma of the survey, not of costs", f"{sigma:,.2f} {result.bid.currency}")
        )
    if result.source.left_out:
        rows.append(("NOT PRICED", f"{result.source.left_out:,}"))
    return rows


def _sure(result: Result) -> Iterator[tuple[str, str]]:
    """How sure the price is, where the bid gives ranges."""
    if result.risk is None:
        return
    at = result.risk.percentiles.set_index("percentile")
    money, wanted = result.bid.currency, result.risk.confidence
    yield (
        "  8 of 10 draws lie within",
        f"{at['price'][0.1]:,.0f} to {at['price'][0.9]:,.0f} {money}",
    )
    part = f"{100 * at['contingency_part'][wanted]:.1f} %"
    needed = f"{at['contingency'][wanted]:,.0f} {money} ({part})"
    yield f"  contingency to be {100 * wanted:.0f} % sure", needed
    yield "  the contingency carried is enough", f"in {100 * result.risk.covered:.0f} % of draws"


def _price_of(result: Result) -> str:
    """What the price is of: where water is compared it is no plan, but what turf on everything
    would cost."""
    return "price" if result.water is None else "price of turf on every area"


# ------------------------------------------------------------------------------------------------ writing


def write(result: Result, folder: Path) -> None:
    """Every CSV and layout.gpkg."""
    for name, table in tables(result).items():
        (folder / name).parent.mkdir(exist_ok=True)
        write_csv(table, folder / f"{name}.csv")
    write_geopackage(result, folder / _GEOPACKAGE)


def write_csv(table: pd.DataFrame, path: Path) -> None:
    """UTF-8, RFC 4180, a header, no index; fixed decimals, so that equal input gives equal
    bytes."""
    out = pd.DataFrame(index=table.index)
    for name in table.columns:
        column = table[name]
        if not pd.api.types.is_numeric_dtype(column):
            out[name] = [_as_text(value) for value in column]
        elif name in table.attrs.get("decimals", {}):
            digits = table.attrs["decimals"][name]
            out[name] = ["" if np.isnan(value) else f"{value:.{digits}f}" for value in column]
        else:
            out[name] = column
    head = [_as_text(name) for name in table.columns]  # some are named by the input
    out.to_csv(path, index=False, header=head, lineterminator=_CRLF, encoding="utf-8")


def _as_text(value: object) -> str:
    """Text with an apostrophe wherever a spreadsheet would start a formula; a number written as
    text (money, an id such as 0012 or -4) stays as it is."""
    text = str(value)
    if _NUMBER.fullmatch(text):
        return text
    guarded = _FORMULA.sub("'", text)
    return f"'{guarded}" if guarded.startswith(_BLANK_STARTS) else guarded


def write_geopackage(result: Result, path: Path) -> None:
    """Layers areas, pieces, seams, edges in the CRS of the first turf layer, with the ids of the
    CSVs."""
    import geopandas
    import pyogrio
    import pyogrio.errors

    pyogrio.set_gdal_config_options(
        {"OGR_CURRENT_DATE": "1970-01-01T00:00:00.000Z"}
    )  # equal runs, equal bytes
    try:
        for name, table in _layers(result).items():
            frame = geopandas.GeoDataFrame(table, geometry="geometry", crs=result.ground.source_crs)
            pyogrio.write_dataframe(frame, path, layer=name, driver="GPKG", append=path.exists())
    except (pyogrio.errors.DataSourceError, pyogrio.errors.DataLayerError) as fault:
        raise OSError(f"{path.name}: {fault}") from fault
    finally:
        pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": None})


def _layers(result: Result) -> dict[str, pd.DataFrame]:
    land, plan, runs = result.ground.areas, result.plan, result.edges.runs
    piece, seam = plan.pieces, plan.seams
    placed = {
        "areas": (areas(result), np.arange(len(land)), land["geometry"], False),
        "pieces": (
            pieces(result),
            piece["area_index"],
            pile.rectangles(
                *(piece[c].to_numpy() for c in ("u0", "u1", "v0", "v1", "bearing_deg"))
            ),
            True,
        ),
        "seams": (
            _stretches("seams", result, seam),
            seam["area_index"],
            pile.segments(*(seam[c].to_numpy() for c in ("u0", "v0", "u1", "v1", "bearing_deg"))),
            True,
        ),
        "edges": (
            _stretches("edges", result, runs),
            runs["area_index"],
            runs["geometry"],
            False,
        ),
    }
    return {name: _in_source_crs(result, *parts) for name, parts in placed.items()}


def _stretches(layer: str, result: Result, rows: pd.DataFrame) -> pd.DataFrame:
    """Seams or boundary runs: whose they are, of which kind, how long."""
    land = result.ground.areas[["site", "area"]].iloc[rows["area_index"]]
    values: dict[str, Column] = {"site": land["site"].to_numpy(), "area": land["area"].to_numpy()}
    values |= {"kind": rows["kind"], "length": rows["length_m"]}
    return columns.table(f"{_GEOPACKAGE} {layer}", result.bid.units, values)


def _in_source_crs(
    result: Result, table: pd.DataFrame, at: Any, geometry: Any, laid: bool
) -> pd.DataFrame:
    from geoturf import ground

    at = np.asarray(at, dtype=np.int64)
    geometry = np.asarray(geometry, dtype=object)
    if laid:
        geometry = plane.from_laid(result.ground.areas, at, geometry)
    frame = result.ground.areas["frame"].to_numpy()[at]
    return table.assign(
        geometry=ground.to_crs(result.ground.frames, frame, geometry, result.ground.source_crs)
    )


def write_run(result: Result, folder: Path) -> None:
    """run.json: what was run, on what, with which settings, and what came of it."""
    from geoturf import __version__

    severity = [f.severity for f in result.findings]
    content = {
        "version": __version__,
        "inputs": [{"path": path, "sha256": digest} for path, digest in result.source.inputs],
        "settings": result.bid.model_dump(
            mode="json", by_alias=True, exclude={"folder", "looked", "given"}, fallback=str
        ),
        "counts": {
            "sites": int(result.ground.areas["site"].nunique()),
            "areas": len(result.ground.areas),
            "pieces": len(result.plan.pieces),
            "rolls": int(result.plan.pools["rolls"].sum()),
            "not_priced": result.source.left_out,
            **{f"{s}s": severity.count(s) for s in ("error", "warning", "note")},
        },
        "totals": dict(summary(result))
        | {name: str(value) for name, value in result.price.totals.items()},
        "assumed": assumed.in_words(result.bid, result.price.lines),
        "cautions": list(result.takeoff.cautions),
        "seconds": result.seconds,
    }
    (folder / "run.json").write_text(
        json.dumps(content, indent=1, ensure_ascii=False) + "\n", encoding="utf-8"
    )
