"""The CSV tables, the GeoPackage and run.json: the output contract, one function a table.

`tables(result)` gives every table as a DataFrame whose numbers are already in the bid's units and rounded; `write` puts them
into a folder. Text that a spreadsheet would take for a formula gets an apostrophe (OWASP, CSV injection), in text columns only.
"""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from geoturf import pile, plane, units
from geoturf.model import Result
from geoturf.rules.items import shown

_US = {
    "m2": ("ft2", 1 / units.FT2_M2, 2),
    "m": ("ft", 1 / units.FOOT_M, 2),
    "m3": ("gal", 1 / units.GALLON_M3, 0),
    "per_volume": ("acre_ft", units.ACRE_FT_M3, 2),
}
_METRIC = {"m2": ("m2", 1.0, 3), "m": ("m", 1.0, 3), "m3": ("m3", 1.0, 2), "per_volume": ("m3", 1.0, 2)}
# Where a spreadsheet may take what follows for a formula: at the start of a cell, which a semicolon, a tab or a line's end
# makes too where the file is opened with other separators; full-width signs (U+FF1D and others) count as their narrow ones.
_FORMULA = re.compile(r"(?:^|(?<=[;\t\r\n]))(?=(?:[^\S\t\r\n]|\")*[=+\-@\uff1d\uff0b\uff0d\uff20])")
_NUMBER = re.compile(r"[+-]?[0-9]+(\.[0-9]*)?([eE][+-]?[0-9]+)?")
_BLANK_STARTS = ("\t", "\r", "\n")  # OWASP: these at the start are themselves a way in
_CRLF = "\r\n"  # RFC 4180


class _Table:
    """Collects columns: converts units by the kind of a column and names it with the unit's suffix."""

    def __init__(self, system: str):
        self.system = _US if system == "us" else _METRIC
        self.columns: dict[str, Any] = {}
        self.decimals: dict[str, int] = {}

    def text(self, **columns: Any) -> _Table:
        for name, values in columns.items():
            self.columns[name] = pd.Series(values).astype(object).where(pd.notna(values), "").astype(str).to_numpy()
        return self

    def count(self, **columns: Any) -> _Table:
        for name, values in columns.items():
            self.columns[name] = np.asarray(values, dtype=np.int64)
        return self

    def number(self, decimals: int, **columns: Any) -> _Table:
        for name, values in columns.items():
            self.columns[name] = np.round(np.asarray(values, dtype=float), decimals) + 0.0  # no minus zero
            self.decimals[name] = decimals
        return self

    def measure(self, kind: str, decimals: int | None = None, **columns: Any) -> _Table:
        """SI values of ``kind`` (m2, m, m3), named ``<name>_<unit>``."""
        suffix, factor, usual = self.system[kind]
        for name, values in columns.items():
            scaled = np.asarray(values, dtype=float) * factor
            self.number(usual if decimals is None else decimals, **{f"{name}_{suffix}": scaled})
        return self

    def money(self, **columns: Any) -> _Table:
        for name, values in columns.items():
            self.columns[name] = np.asarray(
                [str(units.cents(v)) if v is not None else "" for v in values], dtype=object
            )
        return self

    def frame(self) -> pd.DataFrame:
        out = pd.DataFrame(self.columns)
        out.attrs["decimals"] = dict(self.decimals)
        return out


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
        phases,
    )
    made = [*always, findings]
    made += [alternates] if len(result.price.alternates) else []
    made += [taken] if len(result.ground.taken) else []
    made += [water] if result.water is not None else []
    return {table.__name__: table(result) for table in made}


def areas(result: Result) -> pd.DataFrame:
    land, border, chosen = result.ground.areas, result.edges.totals, result.plan.chosen
    return (
        _Table(result.bid.units)
        .text(site=land["site"], area=land["area"], phase=land["phase"], product=land["product"])
        .number(4, pile_bearing_deg=chosen["pile_bearing_deg"])
        .number(2, slope_pct=land["slope_pct"].fillna(0))
        .measure("m", elevation=land["elevation_m"])
        .measure("m2", plan_area=land["plan_area_m2"], ground_area=land["ground_area_m2"])
        .measure("m2", surface_area=land["surface_area_m2"], area_tolerance=land["area_tolerance_m2"])
        .measure("m", perimeter=land["perimeter_m"])
        .measure("m", edge_paving=border["edge_paving_m"], edge_building=border["edge_building_m"])
        .measure("m", edge_shared=border["edge_shared_m"], edge_open=border["edge_open_m"])
        .count(perimeter_fasteners=border["perimeter_fasteners"], field_fasteners=border["field_fasteners"])
        .count(seam_fasteners=result.takeoff.areas["seam_fasteners"])
        .measure("m", seam=chosen["seam_m"])
        .count(cross_seams=chosen["cross_seams"], pieces=chosen["pieces"])
        .measure("m2", piece_area=chosen["piece_area_m2"], turf_bought=chosen["turf_bought_m2"])
        .number(2, waste_pct=waste_pct(chosen["turf_bought_m2"], land["surface_area_m2"]))
        .number(2, fixed_bearing_pct=100 * (chosen["free_cost_ratio"].to_numpy() - 1))
        .text(use=land["use"], file=land["file"], layer=land["layer"], feature=land["feature"])
        .frame()
    )


def sites(result: Result) -> pd.DataFrame:
    by_site = _by_site(result)
    money = result.price.sites.set_index("site").reindex(by_site.index)
    return (
        _Table(result.bid.units)
        .text(site=by_site.index, phase=by_site["phase"])
        .count(areas=by_site["areas"])
        .measure("m2", ground_area=by_site["ground_area_m2"], surface_area=by_site["surface_area_m2"])
        .measure("m", perimeter=by_site["perimeter_m"], seam=by_site["seam_m"])
        .count(pieces=by_site["pieces"])
        .measure("m2", turf_bought=by_site["turf_bought_m2"])
        .number(2, waste_pct=waste_pct(by_site["turf_bought_m2"], by_site["surface_area_m2"]))
        .money(cost=money["cost"], price=money["price"])
        .measure("m2", area_tolerance=np.sqrt(by_site["area_variance"]))
        .money(price_tolerance=np.sqrt(by_site["price_variance"]))
        .frame()
    )


def price_sigma(result: Result) -> np.ndarray:
    """One sigma of each area's price from the source's positional accuracy: its price in proportion to its ground."""
    land = result.ground.areas
    return result.price.areas["price"].to_numpy(float) * (land["area_tolerance_m2"] / land["ground_area_m2"]).to_numpy()


def _by_site(result: Result) -> pd.DataFrame:
    """Sites in the order of their first area."""
    land, chosen = result.ground.areas, result.plan.chosen
    sums = ["ground_area_m2", "surface_area_m2", "perimeter_m"]
    all_columns = pd.concat([land[["site", "phase", *sums]], chosen[["seam_m", "pieces", "turf_bought_m2"]]], axis=1)
    grouped = all_columns.groupby("site", sort=False)
    out = grouped[[*sums, "seam_m", "pieces", "turf_bought_m2"]].sum()
    out["areas"] = grouped.size()
    sigma = pd.DataFrame({"area_variance": land["area_tolerance_m2"] ** 2, "price_variance": price_sigma(result) ** 2})
    out[list(sigma)] = sigma.groupby(land["site"], sort=False).sum()
    out["phase"] = grouped["phase"].agg(lambda phases: " + ".join(dict.fromkeys(phases)))
    return out


def pieces(result: Result) -> pd.DataFrame:
    plan, land = result.plan.pieces, result.ground.areas
    at = plan["area_index"].to_numpy()
    table = (
        _Table(result.bid.units)
        .text(piece=plan["piece"], site=land["site"].to_numpy()[at], area=land["area"].to_numpy()[at])
        .text(product=land["product"].to_numpy()[at], roll=plan["roll"])
        .measure("m", 4, along=plan["along_m"], across=plan["across_m"], length=plan["length_m"], width=plan["width_m"])
        .number(4, pile_bearing_deg=plan["bearing_deg"])
    )
    if plan["cut_u_m"].notna().any():  # along and length are the left edge's; the chalk lines' ends on the right edge
        along_right = plan["along_m"] + plan["start_slant_m"]
        length_right = plan["length_m"] + plan["end_slant_m"] - plan["start_slant_m"]
        table.measure("m", 4, along_right=along_right, length_right=length_right)
    return table.frame()


def rolls(result: Result) -> pd.DataFrame:
    plan = result.plan.rolls
    return (
        _Table(result.bid.units)
        .text(roll=plan["roll"], phase=plan["phase"], product=plan["product"])
        .measure("m", 4, width=plan["width_m"], length=plan["length_m"], used=plan["used_m"])
        .count(pieces=plan["pieces"])
        .measure("m", 4, left_over=plan["left_over_m"])
        .text(pattern=plan["pattern"])
        .frame()
    )


def cut_plan(result: Result) -> pd.DataFrame:
    pools = result.plan.pools
    bought, needed = pools["bought_m2"].to_numpy(float), pools["needed_m2"].to_numpy(float)
    return (
        _Table(result.bid.units)
        .text(phase=pools["phase"], product=pools["product"], pool=pools["pool"])
        .count(pieces=pools["pieces"], rolls=pools["rolls"])
        .measure("m2", bought=bought, needed=needed, bound=pools["bound_m2"])
        .number(2, gap_pct=waste_pct(bought, pools["bound_m2"]))
        .measure("m2", cut_bound=pools["cut_bound_m2"])
        .number(3, cut_gap_pct=waste_pct(bought, pools["cut_bound_m2"]))
        .number(2, waste_pct=waste_pct(bought, needed))
        .measure("m2", by_hand=pools["by_hand_m2"], square=pools["square_m2"])
        .text(status=pools["status"])
        .frame()
    )


def left_overs(result: Result) -> pd.DataFrame:
    stock = result.plan.stock
    return (
        _Table(result.bid.units)
        .text(roll=stock["roll"], phase=stock["phase"], product=stock["product"])
        .measure(
            "m", 4, width=stock["width_m"], length=stock["length_m"], along=stock["along_m"], across=stock["across_m"]
        )
        .frame()
    )


def materials(result: Result) -> pd.DataFrame:
    """Items by pool, and the bid's total of each."""
    items = shown(result.takeoff.items, result.bid.units)
    items = items[items["scope_kind"].isin(["pool", "bid"])]
    return (
        _Table(result.bid.units)
        .text(scope=items["scope"], section=items["section"], item=items["item"])
        .number(2, net_quantity=items["net"])
        .text(unit=items["unit"])
        .number(1, allowance_pct=100 * items["allowance"])
        .count(order_quantity=items["order"])
        .text(order_unit=items["order_unit"])
        .number(3, order_size=items["order_size"])
        .count(order_by_site=items["order_by_site"])
        .number(2, net_low=items["net_low"], net_high=items["net_high"])
        .text(basis=items["basis"])
        .frame()
    )


def materials_by_site(result: Result) -> pd.DataFrame:
    """What each site takes, and what it would order alone; only pools are bought."""
    items = shown(result.takeoff.items, result.bid.units)
    items = items[items["scope_kind"] == "site"]
    return (
        _Table(result.bid.units)
        .text(site=items["site"], phase=items["phase"], item=items["item"])
        .number(2, net_quantity=items["net"])
        .text(unit=items["unit"])
        .count(order_alone=items["order"])
        .text(order_unit=items["order_unit"])
        .frame()
    )


def bid(result: Result) -> pd.DataFrame:
    lines = result.price.lines
    return (
        _Table(result.bid.units)
        .text(line=lines["line"], section=lines["section"], phase=lines["phase"], description=lines["description"])
        .text(quantity=lines["quantity"], unit=lines["unit"], unit_price=lines["unit_price"])
        .money(amount=lines["amount"])
        .frame()
    )


def build_up(result: Result) -> pd.DataFrame:
    steps = result.price.build_up
    return (
        _Table(result.bid.units)
        .text(step=steps["step"], on=steps["on"])
        .money(base=steps["base"])
        .number(2, rate_pct=100 * steps["rate"])
        .money(amount=steps["amount"], subtotal=steps["subtotal"])
        .frame()
    )


def schedule(result: Result) -> pd.DataFrame:
    """Schedule of values: phases by section, with each section's share of the build-up."""
    rows = result.price.schedule
    words = ["phase", "section", "title"]
    table = _Table(result.bid.units).text(**{name: rows[name] for name in words})
    return table.money(**{name.replace(" ", "_"): rows[name] for name in rows.columns if name not in words}).frame()


def phases(result: Result) -> pd.DataFrame:
    rows = result.price.phases
    each = "price_per_ft2" if result.bid.units == "us" else "price_per_m2"
    return (
        _Table(result.bid.units)
        .text(phase=rows["phase"])
        .count(sites=rows["sites"], areas=rows["areas"])
        .measure("m2", surface_area=rows["surface_area_m2"])
        .money(cost=rows["cost"], price=rows["price"], **{each: rows[each]})
        .frame()
    )


def alternates(result: Result) -> pd.DataFrame:
    rows = result.price.alternates
    return (
        _Table(result.bid.units)
        .text(alternate=rows["alternate"])
        .money(price=rows["price"], difference=rows["difference"])
        .frame()
    )


def taken(result: Result) -> pd.DataFrame:
    rows = result.ground.taken
    return (
        _Table(result.bid.units)
        .text(site=rows["site"], area=rows["area"], reason=rows["reason"])
        .measure("m2", area=rows["area_m2"])
        .frame()
    )


def water(result: Result) -> pd.DataFrame:
    rows = result.water.table
    return (
        _Table(result.bid.units)
        .text(site=rows["site"], area=rows["area"], conversion=rows["conversion"])
        .measure("m3", baseline=rows["baseline_m3"], use=rows["use_m3"], saved=rows["saved_m3"])
        .money(capital=rows["capital"], rebate=rows["rebate"])
        .number(2, payback_years=rows["payback_years"])
        .money(npv=rows["npv"])
        .measure("per_volume", cost_per=rows["cost_per_m3"])
        .text(chosen=np.where(rows["chosen"], "yes", "no"))
        .frame()
    )


def findings(result: Result) -> pd.DataFrame:
    names = ["severity", "file", "layer", "feature", "site", "area", "code", "message"]
    return pd.DataFrame([[getattr(f, name) for name in names] for f in result.findings], columns=names, dtype=object)


def waste_pct(bought: Any, needed: Any) -> np.ndarray:
    """Percent by which ``bought`` exceeds ``needed`` (0 where nothing is needed)."""
    bought, needed = np.asarray(bought, dtype=float), np.asarray(needed, dtype=float)
    return np.where(needed > 0, 100 * (bought / np.where(needed > 0, needed, 1) - 1), 0.0)


# ------------------------------------------------------------------------------------------------ the few figures at the end


def summary(result: Result) -> list[tuple[str, str]]:
    """The bid on a few lines: word, value."""
    land, pools = result.ground.areas, result.plan.pools
    unit, factor, _ = (_US if result.bid.units == "us" else _METRIC)["m2"]
    bought, bound = pools["bought_m2"].sum(), pools["bound_m2"].sum()
    by_hand = pools["by_hand_m2"].sum()
    rows = [
        ("sites", f"{land['site'].nunique():,}"),
        ("areas", f"{len(land):,}"),
        ("ground area", f"{land['ground_area_m2'].sum() * factor:,.0f} {unit}"),
        ("turf bought", f"{bought * factor:,.0f} {unit}"),
        ("waste over the ground", f"{waste_pct(bought, land['surface_area_m2'].sum()):.1f} %"),
        ("  each area alone, by hand", f"{waste_pct(by_hand, land['surface_area_m2'].sum()):.1f} %"),
        ("over the bound for strips", f"{waste_pct(bought, bound):.1f} %"),
        ("rolls and lengths", f"{int(pools['rolls'].sum()):,}"),  # bought; left-overs at hand are not
        ("price", f"{result.price.totals['price']:,} {result.bid.currency}"),
    ]
    if (sigma := float(np.sqrt((price_sigma(result) ** 2).sum()))) > 0:
        rows.append(("  one sigma from the survey", f"{sigma:,.2f} {result.bid.currency}"))
    if result.source.left_out:
        rows.append(("NOT PRICED", f"{result.source.left_out:,}"))
    return rows


# ------------------------------------------------------------------------------------------------ writing


def write(result: Result, folder: Path) -> None:
    """Every CSV and layout.gpkg."""
    for name, table in tables(result).items():
        write_csv(table, folder / f"{name}.csv")
    write_geopackage(result, folder / "layout.gpkg")


def write_csv(table: pd.DataFrame, path: Path) -> None:
    """UTF-8, RFC 4180, a header, no index; fixed decimals, so that equal input gives equal bytes."""
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
    out.to_csv(path, index=False, lineterminator=_CRLF, encoding="utf-8")


def _as_text(value: object) -> str:
    """Text with an apostrophe wherever a spreadsheet would start a formula; a number written as text (money, an id such as
    0012 or -4) stays as it is."""
    text = str(value)
    if _NUMBER.fullmatch(text):
        return text
    guarded = _FORMULA.sub("'", text)
    return f"'{guarded}" if guarded.startswith(_BLANK_STARTS) else guarded


def write_geopackage(result: Result, path: Path) -> None:
    """Layers areas, pieces, seams, edges in the CRS of the first turf layer, with the ids of the CSVs."""
    import geopandas
    import pyogrio

    pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": "1970-01-01T00:00:00.000Z"})  # equal runs, equal bytes
    try:
        for name, table in _layers(result).items():
            frame = geopandas.GeoDataFrame(table, geometry="geometry", crs=result.ground.source_crs)
            pyogrio.write_dataframe(frame, path, layer=name, driver="GPKG", append=path.exists())
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
            pile.rectangles(*(piece[c].to_numpy() for c in ("u0", "u1", "v0", "v1", "bearing_deg"))),
            True,
        ),
        "seams": (
            _stretches(result, seam),
            seam["area_index"],
            pile.segments(*(seam[c].to_numpy() for c in ("u0", "v0", "u1", "v1", "bearing_deg"))),
            True,
        ),
        "edges": (
            _stretches(result, runs),
            runs["area_index"],
            runs["geometry"],
            False,
        ),
    }
    return {name: _in_source_crs(result, *parts) for name, parts in placed.items()}


def _stretches(result: Result, rows: pd.DataFrame) -> pd.DataFrame:
    """Seams or boundary runs: whose they are, of which kind, how long."""
    land = result.ground.areas[["site", "area"]].iloc[rows["area_index"]]
    table = _Table(result.bid.units).text(site=land["site"].to_numpy(), area=land["area"].to_numpy(), kind=rows["kind"])
    return table.measure("m", length=rows["length_m"]).frame()


def _in_source_crs(result: Result, table: pd.DataFrame, at: Any, geometry: Any, laid: bool) -> pd.DataFrame:
    from geoturf import ground

    at = np.asarray(at, dtype=np.int64)
    geometry = np.asarray(geometry, dtype=object)
    if laid:
        geometry = plane.from_laid(result.ground.areas, at, geometry)
    frame = result.ground.areas["frame"].to_numpy()[at]
    return table.assign(geometry=ground.to_crs(result.ground.frames, frame, geometry, result.ground.source_crs))


def write_run(result: Result, folder: Path) -> None:
    """run.json: what was run, on what, with which settings, and what came of it."""
    from geoturf import __version__

    severity = [f.severity for f in result.findings]
    content = {
        "version": __version__,
        "inputs": [{"path": path, "sha256": digest} for path, digest in result.source.inputs],
        "settings": result.bid.model_dump(mode="json", by_alias=True, exclude={"folder"}, fallback=str),
        "counts": {
            "sites": int(result.ground.areas["site"].nunique()),
            "areas": len(result.ground.areas),
            "pieces": len(result.plan.pieces),
            "rolls": int(result.plan.pools["rolls"].sum()),
            "not_priced": result.source.left_out,
            **{f"{s}s": severity.count(s) for s in ("error", "warning", "note")},
        },
        "totals": dict(summary(result)) | {name: str(value) for name, value in result.price.totals.items()},
        "cautions": list(result.takeoff.cautions),
        "seconds": result.seconds,
    }
    (folder / "run.json").write_text(json.dumps(content, indent=1, ensure_ascii=False) + "\n", encoding="utf-8")
