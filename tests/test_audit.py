"""The audit: a sound report agrees, and every fault that is planted in one is told by the promise
it breaks, though all that hangs on it is made to fit where that is easy.

Two kinds: a figure or a shape changed in a written folder, and a stage of the run that errs, so
that all that comes after it fits.
"""

from __future__ import annotations

import base64
import csv
import json
import re
import shutil
import sqlite3
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import geopandas
import numpy as np
import pyogrio
import pytest
import shapely
from shapely.affinity import scale, translate
from shapely.geometry import Polygon, box

import geoturf
from geoturf import audit as auditing
from geoturf import cuts, edges, ground, layout, materials, pipeline, read, report
from geoturf import price as pricing
from geoturf.audit import AGREES, BROKEN, UNSEEN
from geoturf.bid import make_bid
from geoturf.errors import PromiseError

E, N = 6_352_000.0, 2_148_000.0  # California zone 5, US survey feet

BID = """
name = "Two lots and a park"
[[layers]]
path = "lawns.gpkg"
sigma = "0.1 ft"
[[layers]]
path = "built.shp"
role = "building"
[layers.where]
KIND = "house"
[[layers]]
path = "built.shp"
role = "paving"
[layers.where]
KIND = "walk"
[products.meadow60]
title = "Meadow 60"
pile_weight = "60 oz/yd^2"
price = "2.05 USD/ft^2"
[products.meadow80]
title = "Meadow 80"
pile_weight = "80 oz/yd^2"
price = "2.60 USD/ft^2"
pets = true
[price]
sales_tax = "7 %"
"""
ALTERNATE = '\n[[price.alternates]]\ntitle = "Edging"\nadd = ["edging"]\n'


def write_input(folder: Path) -> None:
    """Five lawns of three sites in two phases, one by a house and a walk, one beside another."""
    shapes = {
        ("A", "front"): box(0, 0, 40, 30),
        ("A", "back"): box(0, 30, 40, 55),
        ("B", "front"): Polygon([(100, 0), (150, 0), (150, 22), (122, 22), (122, 61), (100, 61)]),
        ("B", "side"): box(200, 0, 231, 17),
        ("C", "park"): Polygon([(300, 0), (371, 9), (352, 88), (309, 71)]),
    }
    rows = {
        "site": [site for site, _ in shapes],
        "area": [area for _, area in shapes],
        "phase": ["1", "1", "1", "1", "2"],
        "product": ["meadow60", "meadow60", "meadow80", "meadow60", "meadow80"],
        "pile_bearing_deg": [None, None, 30.0, None, None],
        "slope_pct": [None, None, None, 8.0, None],
        "elevation_ft": [320.0, 320.0, 320.0, 320.0, 1250.0],
        "caps": [3.0, 2.0, None, None, 5.0],
    }
    placed = [translate(shape, E, N) for shape in shapes.values()]
    table = geopandas.GeoDataFrame(rows, geometry=placed, crs="EPSG:2228")
    table.to_file(folder / "lawns.gpkg", engine="pyogrio")
    built = [box(40, 0, 70, 55), box(100, -4, 150, 0), box(122, 22, 140, 40)]
    kinds = {"KIND": ["house", "walk", "house"]}
    placed = [translate(shape, E, N) for shape in built]
    geopandas.GeoDataFrame(kinds, geometry=placed, crs="EPSG:2228").to_file(folder / "built.shp")


@pytest.fixture(scope="module")
def sound(tmp_path_factory) -> Path:
    """A folder with the input, bid.toml and a report of it."""
    home = tmp_path_factory.mktemp("sound")
    write_input(home)
    (home / "bid.toml").write_text(BID + ALTERNATE)
    result = geoturf.run(geoturf.read_bid(home / "bid.toml"))
    told = report.write(result, home / "report", ())
    assert {one.verdict for one in told} == {AGREES}
    return home


@pytest.mark.parametrize(
    ("wide", "rules"),
    [
        (13.2, {"layout": {"cut_step": "12 in"}}),  # less than a step would be left beside it
        (13, {"cuts": {"stock": [{"product": "turf60", "width": "15 ft", "length": "40 ft"}]}}),
        (15, {"cuts": {"stock": [{"product": "turf60", "width": "13 ft", "length": "60 ft"}]}}),
    ],
    ids=["whole width", "all from stock", "more than stock holds"],
)
def test_what_a_sound_bid_may_come_to_agrees(tmp_path, wide, rules):
    """And no percents are told over a bound of nothing, where turf is bought."""
    lawn = translate(box(0, 0, wide, 30), E, N)
    table = geopandas.GeoDataFrame({"site": ["A"]}, geometry=[lawn], crs="EPSG:2228")
    table.to_file(tmp_path / "lawn.gpkg")
    bid = make_bid({"layers": [{"path": "lawn.gpkg"}], "folder": str(tmp_path)} | rules)
    told = report.write(geoturf.run(bid), tmp_path / "report", ())
    assert BROKEN not in {one.verdict for one in told}
    plan = (tmp_path / "report" / "cut_plan.csv").read_text(encoding="utf-8-sig")
    (pool,) = csv.DictReader(plan.splitlines())
    free = float(pool["bound_ft2"]) == 0 < float(pool["bought_ft2"])
    assert (pool["gap_pct"] == "") == free


def audit(report: Path, home: Path):
    return auditing.audit(report, home, auditing.bid_of([str(home / "bid.toml")]))


def broken(told) -> set[str]:
    return {one.promise for one in told if one.verdict == BROKEN}


# ---------------------------------------------------------------------------- a report, to plant in


class Report:
    """A copy of a report that can be tampered with."""

    def __init__(self, folder: Path):
        self.folder = folder

    def rows(self, name: str) -> list[dict[str, str]]:
        with (self.folder / f"{name}.csv").open(encoding="utf-8", newline="") as file:
            return list(csv.DictReader(file))

    def put(self, name: str, rows: list[dict[str, str]]) -> None:
        with (self.folder / f"{name}.csv").open("w", encoding="utf-8", newline="") as file:
            writer = csv.DictWriter(file, rows[0])
            writer.writeheader()
            writer.writerows(rows)

    def set(self, name: str, column: str, to: Callable[[float], float], only=lambda row: True):
        """Every number of a column, or of the rows that are meant."""
        rows = self.rows(name)
        for row in rows:
            if row[column] and only(row):
                decimals = len(row[column].partition(".")[2])
                row[column] = f"{to(float(row[column])):.{decimals}f}"
        self.put(name, rows)

    def word(self, name: str, column: str, to: str, only=lambda row: True) -> None:
        rows = self.rows(name)
        for row in rows:
            if only(row):
                row[column] = to
        self.put(name, rows)

    def drop(self, name: str, which) -> None:
        self.put(name, [row for row in self.rows(name) if not which(row)])

    def move(self, name: str, column: str, much: float) -> None:
        """From the second row to the first."""
        rows = self.rows(name)
        for row, sign in zip(rows[:2], (1, -1), strict=True):
            row[column] = f"{float(row[column]) + sign * much:.2f}"
        self.put(name, rows)

    def run(self, change: Callable[[dict], None]) -> None:
        content = json.loads((self.folder / "run.json").read_text())
        change(content)
        (self.folder / "run.json").write_text(json.dumps(content))

    def shapes(self, layer: str, to: Callable) -> None:
        """Every shape of a layer of layout.gpkg."""
        path = self.folder / "layout.gpkg"
        table = geopandas.read_file(path, layer=layer)
        table["geometry"] = [to(shape) for shape in table.geometry]
        with sqlite3.connect(path) as base:  # its rows alone; triggers would ask for more
            for (name,) in base.execute("select name from sqlite_master where type = 'trigger'"):
                base.execute(f'drop trigger "{name}"')
            for fid, shape in enumerate(table.geometry, 1):
                (old,) = base.execute(f"select geom from {layer} where fid = ?", (fid,)).fetchone()
                head = old[:3] + bytes([old[3] & 0b11110001]) + old[4:8]  # no envelope
                blob = head + shapely.to_wkb(shape)
                base.execute(f"update {layer} set geom = ? where fid = ?", (blob, fid))

    def page(self, name: str, metres: float) -> None:
        """Moves a map's outlines north."""
        path = self.folder / name
        text = path.read_text(encoding="utf-8")
        found = re.search(r'(<script[^>]*id="geoturf-areas"[^>]*>)(.*?)</script>', text, re.DOTALL)
        island = json.loads(found.group(2))
        island["borders"]["at"] = moved(island["borders"]["at"], round(metres / 111_000 / 1e-7))
        path.write_text(text.replace(found.group(2), json.dumps(island)), encoding="utf-8")


def moved(text: str, steps: int) -> str:
    """Varints of a run of points, the second number (the first latitude) made larger."""
    numbers, value, place = [], 0, 0
    for byte in base64.b64decode(text):
        value |= (byte & 127) << (7 * place)
        place += 1
        if byte < 128:
            numbers.append(value)
            value = place = 0
    second = (numbers[1] >> 1) ^ -(numbers[1] & 1)
    numbers[1] = (second + steps) << 1 if second + steps >= 0 else ((-(second + steps)) << 1) - 1
    out = bytearray()
    for number in numbers:
        while number > 127:
            out.append(number & 127 | 128)
            number >>= 7
        out.append(number)
    return base64.b64encode(bytes(out)).decode()


def at(**what: str):
    """Rows that have these texts."""
    return lambda row: all(row[name] == text for name, text in what.items())


def material(item: str):
    return lambda row: row["item"] == item


def lines(item: str):
    return lambda row: row["description"] == item


def moved_100(r: Report) -> None:
    """100 USD from site B to site A, of the sites, their areas and the client's table."""
    for name in ("sites", "client/prices", "areas"):
        for site, area, much in (("A", "front", 100.0), ("B", "front", -100.0)):
            whose = {"site": site} | ({"area": area} if name == "areas" else {})
            r.set(name, "price", lambda one, m=much: one + m, at(**whose))


def without_infill(r: Report) -> None:
    for name in ("materials", "bid"):
        of = material if name == "materials" else lines
        r.drop(name, of("Infill"))


def no_tax(r: Report) -> None:
    r.drop("bid", lambda row: row["description"].startswith("Sales tax"))
    r.set("build_up", "amount", lambda _: 0.0, at(step="sales tax"))


def tenth(r: Report) -> None:
    """Aggregate at a tenth of its cost."""
    cheap = lines("Aggregate base, compacted")
    r.set("bid", "unit_price", lambda one: one / 10, cheap)
    r.word("bid", "unit_price", "3.6", cheap)
    rows = r.rows("bid")
    for row in filter(cheap, rows):
        row["amount"] = f"{float(row['quantity']) * 3.6:.2f}"
    r.put("bid", rows)


def first_price(r: Report) -> None:
    """Every product at the first one's."""
    turf = lambda row: row["description"].startswith("Meadow")  # noqa: E731
    r.word("bid", "unit_price", "2.05", turf)
    rows = r.rows("bid")
    for row in filter(turf, rows):
        row["amount"] = f"{float(row['quantity']) * 2.05:.2f}"
    r.put("bid", rows)


def all_open(r: Report) -> None:
    rows = r.rows("areas")
    for row in rows:
        row["edge_open_ft"] = row["perimeter_ft"]
        for kind in ("paving", "building", "shared"):
            row[f"edge_{kind}_ft"] = "0.00"
    r.put("areas", rows)


def swapped(r: Report) -> None:
    rows = r.rows("areas")
    for row in rows:
        both = row["edge_paving_ft"], row["edge_building_ft"]
        row["edge_building_ft"], row["edge_paving_ft"] = both
    r.put("areas", rows)


def turned(r: Report) -> None:
    """A stated bearing by 20 degrees, of the area and its pieces."""
    for name in ("areas", "pieces"):
        r.set(name, "pile_bearing_deg", lambda one: one + 20, at(site="B", area="front"))


def same_roll(r: Report) -> None:
    """Every piece from the start of its roll."""
    for column in ("along_ft", "across_ft"):
        r.set("pieces", column, lambda _: 0.0)


def bound(of: Callable[[float, float], float]):
    def plant(r: Report) -> None:
        rows = r.rows("cut_plan")
        for row in rows:
            row["bound_ft2"] = f"{of(float(row['bought_ft2']), float(row['bound_ft2'])):.2f}"
            gap = 100 * (float(row["bought_ft2"]) / max(1e-9, float(row["bound_ft2"])) - 1)
            row["gap_pct"] = f"{gap:.2f}"
        r.put("cut_plan", rows)

    return plant


def half(item: str, order: bool = True):
    """Half of an item, ordered so too."""

    def plant(r: Report) -> None:
        r.set("materials", "net_quantity", lambda one: one / 2, material(item))
        if order:
            r.set("materials", "order_quantity", lambda one: float(-(-one // 2)), material(item))

    return plant


def client(r: Report) -> None:
    r.set("client/prices", "price", lambda one: one + 1, at(kind="price"))


def price_of_run(content: dict) -> None:
    content["totals"]["price"] = "1000.00"


def tax_of_run(content: dict) -> None:
    content["settings"]["price"]["sales_tax"] = 0.0


def digest_of_run(content: dict) -> None:
    content["inputs"][0]["sha256"] = "0" * 64


def not_priced(r: Report) -> None:
    """An area lost, whatever told of it."""
    whose = at(site="B", area="side")
    for name in ("areas", "pieces"):
        r.drop(name, whose)


# name: how it is planted, a promise that must say so
PLANTED: dict[str, tuple[Callable[[Report], None], str]] = {
    "ground 10 % too large everywhere": (
        lambda r: r.set("areas", "ground_area_ft2", lambda one: 1.1 * one), "ground"),
    "one ground area 0.1 % too large": (
        lambda r: r.set("areas", "ground_area_ft2", lambda one: 1.001 * one, at(area="park")), "ground"),
    "surface without the slope": (
        lambda r: r.set("areas", "surface_area_ft2", lambda one: one / 1.0032, at(area="side")), "surface"),
    "perimeter 1 % too long": (
        lambda r: r.set("areas", "perimeter_ft", lambda one: 1.01 * one), "perimeter"),
    "an elevation lost": (
        lambda r: r.set("areas", "elevation_ft", lambda one: 0.0, at(area="park")), "elevation as given"),
    "a slope doubled": (
        lambda r: r.set("areas", "slope_pct", lambda one: 2 * one), "slope as given"),
    "a stated bearing turned 20 degrees": (turned, "bearing as stated"),
    "a product mistaken": (
        lambda r: r.word("areas", "product", "meadow60", at(area="park")), "product as given"),
    "a site in another phase": (
        lambda r: r.word("areas", "phase", "2", at(site="B")), "phase as given"),
    "a site called otherwise": (lambda r: r.word("areas", "site", "D", at(site="C")), "site as given"),
    "tolerance halved": (
        lambda r: r.set("areas", "area_tolerance_ft2", lambda one: one / 2), "tolerance"),
    "all edges called open": (all_open, "open edges"),
    "walls taken for walks": (swapped, "building edges"),
    "edges that do not add up": (
        lambda r: r.set("areas", "edge_open_ft", lambda one: one + 1), "edges add up"),
    "an area lost": (not_priced, "every area"),
    "an area twice": (
        lambda r: r.put("areas", [*r.rows("areas"), r.rows("areas")[0]]), "layout"),
    "nails of the field halved": (
        lambda r: r.set("areas", "field_fasteners", lambda one: one // 2), "field nails"),
    "nails of the border doubled": (
        lambda r: r.set("areas", "perimeter_fasteners", lambda one: 2 * one), "perimeter nails"),
    "turf of an area": (
        lambda r: r.set("areas", "turf_bought_ft2", lambda one: one + 5, at(area="park")), "turf of areas"),
    "a piece not counted": (
        lambda r: r.set("areas", "pieces", lambda one: one - 1), "pieces of areas"),
    "turf as cut": (lambda r: r.set("areas", "piece_area_ft2", lambda one: 0.9 * one), "turf as cut"),
    "pieces cut a foot short": (
        lambda r: r.set("pieces", "length_ft", lambda one: one - 1), "cut lengths"),
    "pieces cut an inch narrow": (
        lambda r: r.set("pieces", "width_ft", lambda one: one - 1 / 6), "cut widths"),
    "pieces cut a foot long": (
        lambda r: r.set("pieces", "length_ft", lambda one: one + 1), "cut lengths"),
    "pieces cut from the same turf": (same_roll, "turf cut once"),
    "a piece off its roll's end": (
        lambda r: r.set("pieces", "along_ft", lambda one: one + 90), "within rolls"),
    "a piece over its roll's side": (
        lambda r: r.set("pieces", "across_ft", lambda one: one + 1), "within rolls' widths"),
    "a piece of no roll": (
        lambda r: r.word("pieces", "roll", "R9999", at(area="park")), "pieces on rolls"),
    "rolls of other turf": (lambda r: r.word("rolls", "product", "meadow60"), "turf of rolls"),
    "a piece turned": (
        lambda r: r.set("pieces", "pile_bearing_deg", lambda one: one + 90, at(area="park")), "one pile an area"),
    "an area turned a quarter, its pieces too": (
        lambda r: [r.set(name, "pile_bearing_deg", lambda one: one + 90, at(area="park")) for name in ("areas", "pieces")],
        "cut lengths"),
    "an area turned a little, its pieces too": (
        lambda r: [r.set(name, "pile_bearing_deg", lambda one: one + 3, at(area="park")) for name in ("areas", "pieces")],
        "pile"),
    "a piece lost": (lambda r: r.put("pieces", r.rows("pieces")[1:]), "layout"),
    "a width nobody stocks": (
        lambda r: r.set("rolls", "width_ft", lambda one: one + 1), "rolls as stocked"),
    "a length that no roll has": (
        lambda r: r.set("rolls", "length_ft", lambda one: one + 80), "rolls as stocked"),
    "a roll lost": (lambda r: r.put("rolls", r.rows("rolls")[1:]), "turf bought"),
    "bound at 0.999 of what is bought": (bound(lambda bought, _: 0.999 * bought), "bound"),
    "bound at half": (bound(lambda _, own: own / 2), "bound"),
    "bound at 0": (bound(lambda *_: 0.0), "bound"),
    "less bought than the bound": (bound(lambda bought, _: 1.01 * bought), "order"),
    "a cut bound above the plan": (
        lambda r: r.set("cut_plan", "cut_bound_ft2", lambda one: 2 * one), "cut bound"),
    "a foot of roll less": (
        lambda r: r.set("cut_plan", "bought_ft2", lambda one: one - 15), "turf bought"),
    "turf needed": (lambda r: r.set("cut_plan", "needed_ft2", lambda one: 0.98 * one), "turf needed"),
    "outlines moved 30 m": (
        lambda r: r.shapes("areas", lambda one: translate(one, 100, 0)), "outline"),
    "outlines shrunk by a hundredth": (
        lambda r: r.shapes("areas", lambda one: scale(one, 0.99, 0.99)), "outline"),
    "pieces laid a foot aside": (
        lambda r: r.shapes("pieces", lambda one: translate(one, 1, 0)), "turf everywhere"),
    "pieces shrunk": (
        lambda r: r.shapes("pieces", lambda one: scale(one, 0.98, 0.98)), "turf everywhere"),
    "pieces that lie on each other": (
        lambda r: r.shapes("pieces", lambda one: scale(one, 1.05, 1.05)), "turf once"),
    "the map moved 30 m": (lambda r: r.page("map.html", 30.0), "map.html"),
    "the client's map moved 30 m": (lambda r: r.page("client/map.html", 30.0), "client/map.html"),
    "base at half the stated depth": (half("Aggregate base, compacted"), "takeoff"),
    "infill left out": (without_infill, "nothing left out"),
    "tape halved": (half("Seam tape"), "takeoff"),
    "nails halved": (half("Turf nails"), "takeoff"),
    "loads halved": (half("Haul away"), "takeoff"),
    "hours halved": (half("Lay, trim and fit turf"), "takeoff"),
    "fabric halved": (half("Weed fabric on the base"), "takeoff"),
    "an order rounded down": (
        lambda r: r.set("materials", "order_quantity", lambda one: one - 1, material("Seam tape")), "orders"),
    "an allowance left out": (
        lambda r: r.set("materials", "allowance_pct", lambda _: 0.0, material("Infill")), "allowances"),
    "a smaller box of nails": (
        lambda r: r.set("materials", "order_size", lambda one: one / 2, material("Turf nails")), "allowances"),
    "a sum of phases": (
        lambda r: r.set("materials", "order_quantity", lambda one: one + 1, at(scope="bid", item="Infill")), "orders in all"),
    "aggregate at a tenth of its cost": (tenth, "unit costs"),
    "sales tax left out": (no_tax, "build-up"),
    "every product at the first one's price": (first_price, "unit costs"),
    "an amount a cent off": (
        lambda r: r.set("bid", "amount", lambda one: one + 0.01, at(line="3")), "amounts"),
    "less priced than ordered": (
        lambda r: r.set("bid", "quantity", lambda one: one - 1, lines("Haul away")), "unit costs"),
    "a line twice": (lambda r: r.put("bid", [*r.rows("bid"), r.rows("bid")[0]]), "one price"),
    "a line of nothing": (
        lambda r: r.word("bid", "description", "Sundries", lines("Haul away")), "lines"),
    "overhead at another rate": (
        lambda r: r.set("build_up", "amount", lambda one: one * 0.9, at(step="overhead")), "build-up"),
    "a cent moved between sites": (lambda r: r.move("sites", "price", 0.01), "sites"),
    "a cent moved between areas of two sites": (
        lambda r: (r.set("areas", "price", lambda one: one + 0.01, at(area="park")),
                   r.set("areas", "price", lambda one: one - 0.01, at(area="side"))), "sites"),
    "100 moved between sites, wherever they stand": (moved_100, "price of a site"),
    "a cent of cost moved between phases": (lambda r: r.move("phases", "cost", 0.01), "phases' costs"),
    "prices of phases": (lambda r: r.move("phases", "price", 100.0), "phases"),
    "the schedule of values": (lambda r: r.move("schedule", "price", 1.0), "schedule's rows"),
    "the schedule of prices": (
        lambda r: r.set("schedule_of_prices", "extension", lambda one: one + 0.01, at(item="1", scope="bid")), "one price"),
    "an alternate's price": (
        lambda r: r.set("alternates", "price", lambda one: one + 10, at(scope="bid")), "alternates"),
    "an alternate's price and difference": (
        lambda r: (r.set("alternates", "price", lambda one: one + 10, at(scope="bid")),
                   r.set("alternates", "difference", lambda one: one + 10, at(scope="bid"))), "alternates' parts"),
    "the client's price": (client, "client's price"),
    "the price in run.json": (lambda r: r.run(price_of_run), "one price"),
    "a rate in run.json": (lambda r: r.run(tax_of_run), "settings"),
    "another input": (lambda r: r.run(digest_of_run), "same input"),
}  # fmt: skip


@pytest.mark.parametrize("name", PLANTED)
def test_a_fault_in_a_finished_report_is_told(sound, tmp_path, name):
    plant, promise = PLANTED[name]
    shutil.copytree(sound / "report", tmp_path / "report")
    plant(Report(tmp_path / "report"))
    assert promise in broken(audit(tmp_path / "report", sound))


# ------------------------------------------------------------------------------ a stage that errs


def of_areas(land, **columns):
    return replace(land, areas=land.areas.assign(**columns))


def larger(land):
    areas = land.areas
    return of_areas(
        land, **{f"{k}_area_m2": 1.1 * areas[f"{k}_area_m2"] for k in ("ground", "surface")}
    )


def shrunk(land):
    """What is laid, by 3 %."""
    return of_areas(land, laid=[scale(shape, 0.97, 0.97) for shape in land.areas["laid"]])


def one_less(land):
    return replace(land, areas=land.areas.iloc[1:].reset_index(drop=True))


def _layer(source, change):
    """The first layer's table changed."""
    first, *others = source.layers
    return replace(source, layers=(replace(first, table=change(first.table)), *others))


def unread(source):
    return _layer(source, lambda table: table.iloc[:-1].reset_index(drop=True))


def turned_by_20(source):
    return _layer(source, lambda t: t.assign(pile_bearing_deg=(t["pile_bearing_deg"] + 20) % 360))


def drawn_smaller(source):
    return _layer(source, lambda t: t.assign(geometry=t.geometry.scale(0.95, 0.95)))


def flat(source):
    return _layer(source, lambda table: table.assign(slope_pct=0.0))


def low(source):
    return _layer(source, lambda table: table.assign(elevation_m=0.0))


def bound_of(times: float):
    def change(plan):
        bought = plan.pools["bought_m2"]
        return replace(plan, pools=plan.pools.assign(bound_m2=times * bought))

    return change


def rules_at(place: int, **update):
    """Rules a stage is given, changed behind the bid's back."""

    def change(given):
        changed = [*given]
        changed[place] = given[place].model_copy(update=update)
        return changed

    return change


def products_alike(place: int):
    def change(given):
        first = next(iter(given[place].values()))
        alike = {
            name: turf.model_copy(update={"price": first.price})
            for name, turf in given[place].items()
        }
        return [*given[:place], alike, *given[place + 1 :]]

    return change


def cheap_stone(given):
    rules = given[4]
    aggregate = rules.costs.aggregate
    costs = rules.costs.model_copy(
        update={"aggregate": replace(aggregate, amount=aggregate.amount / 10)}
    )
    return [*given[:4], rules.model_copy(update={"costs": costs}), *given[5:]]


def nothing_around(given):
    land = given[0]
    return [replace(land, context=land.context.iloc[:0]), *given[1:]]


def as_given(given):
    return given


def as_made(made):
    return made


# name: room, function, what it is given instead, what comes of what it gives, promise
ERRING = {
    "ground 10 % too large everywhere": (ground, "measure", as_given, larger, "ground"),
    "an area lost in reading": (read, "read", as_given, unread, "every area"),
    "an area lost in measuring": (ground, "measure", as_given, one_less, "every area"),
    "outlines read too small": (read, "read", as_given, drawn_smaller, "ground"),
    "slopes not read": (read, "read", as_given, flat, "slope as given"),
    "elevations not read": (read, "read", as_given, low, "elevation as given"),
    "laid geometry shrunk": (ground, "measure", as_given, shrunk, "turf everywhere"),
    "stated bearings turned 20 degrees": (read, "read", as_given, turned_by_20, "bearing as stated"),
    "all edges called open": (edges, "classify", nothing_around, as_made, "open edges"),
    "nails twice as close": (
        edges, "classify", rules_at(2, field_spacing_m=0.2286), as_made, "field nails"),
    "base at half the stated depth": (
        materials, "takeoff", rules_at(4, base_depth_m=0.0508), as_made, "takeoff"),
    "infill left out": (
        materials, "takeoff", rules_at(4, leave_out=("infill",)), as_made, "nothing left out"),
    "aggregate at a tenth of its cost": (pricing, "price", cheap_stone, as_made, "unit costs"),
    "sales tax left out": (pricing, "price", rules_at(4, sales_tax=0.0), as_made, "build-up"),
    "every product at the first one's price": (
        pricing, "price", products_alike(3), as_made, "unit costs"),
    "no allowance at the ends": (
        layout, "task_of", rules_at(2, end_allowance_m=0.0), as_made, "cut lengths"),
    "bound at 0.999 of what is bought": (cuts, "proven", as_given, bound_of(0.999), "bound"),
    "bound at half of what is bought": (cuts, "proven", as_given, bound_of(0.5), "bound"),
    "bound at 0": (cuts, "proven", as_given, bound_of(0.0), "bound"),
}  # fmt: skip


@pytest.fixture(scope="module")
def plain(tmp_path_factory) -> Path:
    home = tmp_path_factory.mktemp("plain")
    write_input(home)
    (home / "bid.toml").write_text(BID)
    return home


@pytest.mark.parametrize("name", ERRING)
def test_a_stage_that_errs_is_stopped_by_the_audit_alone(plain, tmp_path, monkeypatch, name):
    """What the run itself looks at is turned off, so that nothing else tells of it; workbook and
    pages are not written."""
    room, function, instead, after, promise = ERRING[name]
    own = getattr(room, function)
    monkeypatch.setattr(room, function, lambda *given: after(own(*instead(given))))
    monkeypatch.setattr(pipeline.promises, "broken_promises", lambda *_: ())
    monkeypatch.setattr(report, "_write_pages", lambda *_: None)
    result = geoturf.run(geoturf.read_bid(plain / "bid.toml"))
    with pytest.raises(PromiseError) as stopped:
        report.write(result, tmp_path / "out", ())
    assert f"{promise}: " in str(stopped.value)
    assert not (tmp_path / "out").exists()


# ------------------------------------------------------------------------------ what it can look at


def test_without_the_input_it_says_what_it_could_not_look_at(sound):
    told = auditing.audit(sound / "report")
    assert {one.verdict for one in told} == {AGREES, UNSEEN}
    assert len(told) > 40


def test_each_format_is_read_to_the_same_ground(sound, tmp_path):
    """Areas that the audit reads for itself, in four formats."""
    from geoturf.audit import sources

    whole = geopandas.read_file(sound / "lawns.gpkg")
    whole.to_file(tmp_path / "lawns.shp", engine="pyogrio")
    whole.to_parquet(tmp_path / "lawns.parquet")
    whole.to_crs("EPSG:4326").to_file(tmp_path / "lawns.geojson", engine="pyogrio")
    for path in (sound / "lawns.gpkg", *(tmp_path / f"lawns.{s}" for s in ("shp", "parquet"))):
        layer = sources.read(path, "", "")
        assert [one.area for one in layer.shape] == pytest.approx([s.area for s in whole.geometry])
        assert layer.column("site") == list(whole["site"])
    degrees = sources.read(tmp_path / "lawns.geojson", "", "")
    assert degrees.column("area") == list(whole["area"])
    assert pyogrio.read_info(tmp_path / "lawns.geojson")["features"] == len(degrees.shape)


def test_shapes_stand_where_their_index_says(sound, tmp_path):
    """A length that is wrong in the .shp takes the records after it along, where one walks from
    each to the next; its .shx is right, and what a GIS goes by."""
    from geoturf.audit import sources

    path = tmp_path / "lawns.shp"
    geopandas.read_file(sound / "lawns.gpkg")[["geometry"]].to_file(path, engine="pyogrio")
    whole = [one.area for one in sources.read(path, "", "").shape]
    data = bytearray(path.read_bytes())
    data[104:108] = (3).to_bytes(4, "big")
    path.write_bytes(data)
    assert [one.area for one in sources.read(path, "", "").shape] == whole
    assert [one.area for one in geopandas.read_file(path).geometry] == pytest.approx(whole)


def test_areas_agree_with_geographiclib(sound):
    """The audit's geodesic areas against GeographicLib's own Python polygons."""
    from geographiclib.geodesic import Geodesic

    from geoturf.audit import earth, sources

    layer = sources.read(sound / "lawns.gpkg", "", "")
    lonlat = earth.degrees(layer.shape, layer.crs, "wgs84")
    found = earth.measured(lonlat, earth.geod_of(layer.crs, "wgs84"))
    ellipsoid = Geodesic(6_378_137.0, 1 / 298.257222101)  # GRS 80
    for k, shape in enumerate(lonlat):
        polygon = ellipsoid.Polygon()
        for lon, lat in shapely.get_coordinates(shape)[:-1]:
            polygon.AddPoint(lat, lon)
        _, perimeter, area = polygon.Compute()
        assert found.area_m2[k] == pytest.approx(abs(area), rel=1e-7)
        assert found.perimeter_m[k] == pytest.approx(perimeter, rel=1e-9)


def test_planes_keep_lengths_of_geodesics():
    """A kilometre in a plane that touches the earth, against a geodesic (pyproj's)."""
    from geoturf.audit import earth

    crs = earth.crs_of("EPSG:4326")
    geod = earth.geod_of(crs, "wgs84")
    line = np.array([shapely.LineString([(-118.0, 34.0), (-117.995, 34.007)])], object)
    placed = earth.planes(line, np.zeros(1), geod).laid(line, np.zeros(1, int))
    assert shapely.length(placed)[0] == pytest.approx(geod.geometry_length(line[0]), rel=1e-8)
    assert shapely.length(placed)[0] > 890


def test_the_audits_own_units_are_those_of_a_reference():
    """Against pint, in SI; hours are kept as they are."""
    from pint import UnitRegistry

    from geoturf.audit import asked, factors

    units = UnitRegistry()
    spelled = {"m2": "m^2", "m3": "m^3", "ton": "short_ton", "t": "metric_ton", "%": "percent"}
    plain = {"", "1", "each", "h"}
    for name, size in (asked._SIZES | factors.TABLED).items():
        if name in plain:
            continue
        quantity = units.Quantity(1, spelled.get(name, name.replace("yd", "yard")))
        hours = units.hour if name.endswith("/h") else 1
        assert (quantity * hours).to_base_units().magnitude == pytest.approx(size), name


# ------------------------------------------------------------------------------ as a command


def command(capsys, *arguments: str) -> tuple[int, str, str]:
    from geoturf.cli import main

    status = main(["audit", *arguments])
    return (status, *capsys.readouterr())


def test_the_command_tells_a_line_a_promise_and_ends_as_others_do(sound, tmp_path, capsys):
    folder, bid = str(sound / "report"), str(sound / "bid.toml")
    status, said, _ = command(capsys, folder, bid)
    assert status == 0
    assert "agrees: ground: ground areas by geodesics, 5 reckoned again" in said
    status, said, _ = command(capsys, folder)
    assert status == 3
    assert "not looked at: input: " in said
    shutil.copytree(sound / "report", tmp_path / "report")
    Report(tmp_path / "report").move("sites", "price", 0.01)
    status, said, _ = command(capsys, str(tmp_path / "report"), bid)
    assert status == 1
    assert "BROKEN: sites: " in said


def test_it_says_of_what_it_reckoned(sound, tmp_path, capsys):
    """To anybody: of the report alone, of the files too, of the bid; what is broken comes last but
    for what to do; what a report has none of does not count as agreeing."""
    folder, bid = str(sound / "report"), str(sound / "bid.toml")
    _, whole, _ = command(capsys, folder, bid)
    assert whole.splitlines()[-1] == "reckoned again from the input files and the bid"
    _, files, _ = command(capsys, folder, str(sound / "lawns.gpkg"))
    assert "reckoned again from the input files\nrules and prices are taken as the report" in files
    _, alone, _ = command(capsys, folder)
    assert "not looked at: input: the input is not at hand (lawns.gpkg and 1 more)" in alone
    assert "reckoned again from the report alone\nwhat agrees, agrees within the report" in alone
    assert "nothing here: the report has none of what these look at: least orders" in whole
    assert ", 0 looked at" not in whole and ", 0 reckoned again" not in whole
    shutil.copytree(sound / "report", tmp_path / "report")
    Report(tmp_path / "report").move("sites", "price", 0.01)
    _, broken, _ = command(capsys, str(tmp_path / "report"), bid)
    *_, promise, _, counts, _, advice = broken.splitlines()
    assert promise.startswith("BROKEN: ") and counts.endswith(" BROKEN")
    assert "do not rely on it, run the bid again" in advice


def test_a_table_saved_again_by_a_spreadsheet_is_read(sound, tmp_path):
    """Which puts a byte-order mark before it, and ends its lines in its own way."""
    shutil.copytree(sound / "report", tmp_path / "report")
    for path in (tmp_path / "report").glob("*.csv"):
        text = path.read_text(encoding="utf-8").replace("\n", "\r\n")
        path.write_bytes(b"\xef\xbb\xbf" + text.encode())
    told = auditing.audit(tmp_path / "report", sound)
    assert {one.verdict for one in told} == {AGREES}


def test_what_is_no_report_is_refused_in_one_line(tmp_path, capsys):
    status, _, said = command(capsys, str(tmp_path))
    assert status == 1
    assert "is no report of geoturf" in said
    assert len(said.splitlines()) == 1
