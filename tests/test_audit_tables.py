"""The audit of price books, calendar, risk, water and workbook: a sound report agrees, and a figure
changed in one of their tables is told by the promise it breaks."""

import csv
import json
import shutil
import zipfile

import geopandas
import pytest
from shapely.geometry import box

import geoturf
from geoturf import audit as auditing
from geoturf.audit import BROKEN, UNSEEN

BID = {
    "currency": "USD",
    "layers": [{"path": "lawns.gpkg", "columns": {"price_book": "state"}}],
    "price": {
        "sales_tax": "7.25 %",
        "extras": [{"title": "Mobilisation", "price": "500 USD/site"}],
        "hire": {"compactor": "80 USD/week"},
    },
    "books": {
        "NV": {
            "costs": {
                "labour": "96.50 USD/h",
                "aggregate": "29 USD/ton",
                "compactor": "44 USD/day",
            },
            "rates": {"turf": "260 ft^2/h", "setup": "3 h"},
            "sales_tax": "8.375 %",
            "minimum": "20000 USD",
        },
        "CA": {},
    },
    "ranges": {
        "costs": {"labour": ["90 USD/h", "150 USD/h"], "aggregate": ["25 USD/ton", "60 USD/ton"]},
        "turf": {"turf60": ["1.90 USD/ft^2", "2.90 USD/ft^2"]},
        "rates": {"turf": ["150 ft^2/h", "300 ft^2/h"]},
    },
    "calendar": {
        "start": "2026-06-01",
        "holidays": ["2026-06-03"],
    },
    "water": {
        "cover": "cool_season_lawn",
        "climate": {
            "station": "nowhere",
            "source": "invented",
            "eto": [f"{one} mm" for one in (25, 43, 86, 124, 168, 196, 211, 183, 132, 81, 38, 20)],
            "rain": [f"{one} mm" for one in (56, 51, 48, 25, 10, 3, 0, 0, 5, 15, 30, 48)],
        },
        "price": {"price": "2 USD/m^3"},
        "budget": "30000 USD",
        "lay": "all",
    },
}
TURF = {"turf60": {"title": "Turf 60", "price": "2.30 USD/ft^2"}}
CREWS = [
    {"name": "Ground", "tasks": ["setup", "caps", "dig", "drain", "base"]},
    {"name": "Turf", "tasks": ["odour", "pad", "fabric", "edging", "turf", "seam", "nail", "glue", "infill"], "count": 2},
]  # fmt: skip


@pytest.fixture(scope="module")
def sound(tmp_path_factory):
    """A report of five lawns in two states, two phases in one of them."""
    home = tmp_path_factory.mktemp("tables")
    corners = [(0, 0, 21, 13), (40, 0, 17, 30), (80, 0, 12, 9), (120, 0, 35, 8), (0, 60, 26, 19)]
    shapes = [
        box(250_000 + x, 4_070_000 + y, 250_000 + x + wide, 4_070_000 + y + high)
        for x, y, wide, high in corners
    ]
    rows = {
        "site": ["A", "A", "B", "C", "D"],
        "phase": ["1", "1", "1", "2", "2"],
        "state": ["NV", "NV", "CA", "NV", "NV"],
    }
    table = geopandas.GeoDataFrame(rows, geometry=shapes, crs="EPSG:26911")
    table.to_file(home / "lawns.gpkg", engine="pyogrio")
    bid = BID | {
        "folder": str(home),
        "products": TURF,
        "calendar": BID["calendar"] | {"crews": CREWS},
    }
    told = geoturf.write(geoturf.run(geoturf.make_bid(bid)), home / "report", ())
    assert {one.verdict for one in told} == {"agrees"}
    assert {"build-up", "price of a site", "risk", "water now", "dates", "workbook's lines"} <= {
        one.promise for one in told
    }
    return home


def changed(report, name, column, to, only=lambda row: True):
    """Numbers of a column of a table, those of some rows."""
    path = report / f"{name}.csv"
    with path.open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    for row in filter(only, rows):
        decimals = len(row[column].partition(".")[2])
        row[column] = to if isinstance(to, str) else f"{to(float(row[column])):.{decimals}f}"
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, rows[0])
        writer.writeheader()
        writer.writerows(rows)


def stored(report, sheet, old, new):
    """A stored value of the workbook."""
    path = report / "bid.xlsx"
    with zipfile.ZipFile(path) as archive:
        parts = {name: archive.read(name) for name in archive.namelist()}
    name = f"xl/worksheets/sheet{sheet}.xml"
    text = parts[name].decode()
    assert f"<v>{old}</v>" in text
    parts[name] = text.replace(f"<v>{old}</v>", f"<v>{new}</v>").encode()
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        for one, content in parts.items():
            archive.writestr(one, content)


def sheet_of(report, title):
    """The number of a sheet, and the last value stored in it, which is its total."""
    from geoturf.audit import sheets

    with zipfile.ZipFile(report / "bid.xlsx") as archive:
        book = sheets._Book(archive)
        last = list(book.rows(title)[-1].values())[-1]
        return "".join(filter(str.isdigit, book.sheets[title])), last


def total(title):
    def plant(report):
        number, last = sheet_of(report, title)
        stored(report, number, last, float(last) + 1)

    return plant


def a_line(report):
    with (report / "bid.csv").open(encoding="utf-8", newline="") as file:
        amount = next(row["amount"] for row in csv.DictReader(file) if row["phase"])
    number, _ = sheet_of(report, "Lines")
    stored(report, number, float(amount), float(amount) + 1)


def tax_of_book(report):
    content = json.loads((report / "run.json").read_text())
    content["settings"]["books"]["NV"]["sales_tax"] = 0.0725
    (report / "run.json").write_text(json.dumps(content))


def cost_of_book(report):
    content = json.loads((report / "run.json").read_text())
    content["settings"]["books"]["NV"]["costs"].pop("labour")
    (report / "run.json").write_text(json.dumps(content))


def rate_of_book(report):
    content = json.loads((report / "run.json").read_text())
    content["settings"]["books"]["NV"]["rates"]["turf"] = "200 ft^2/h"
    (report / "run.json").write_text(json.dumps(content))


def task(name):
    return lambda row: row["task"] == name


# name: how it is planted, the promise that must say so
PLANTED = {
    "a book's tax at the bid's rate": (tax_of_book, "build-up"),
    "a book's labour at the bid's cost": (cost_of_book, "unit costs"),
    "a book's rate of laying": (rate_of_book, "takeoff"),
    "a site's price under a book": (
        lambda r: changed(r, "sites", "price", lambda one: one + 50, lambda row: row["site"] == "C"),
        "price of a site",
    ),
    "crew-hours halved": (
        lambda r: changed(r, "calendar", "crew_hours", lambda one: one / 2, task("base")),
        "crew-hours",
    ),
    "crew-days of other hours": (
        lambda r: changed(r, "calendar", "crew_days", lambda one: 1.3 * one, task("turf")),
        "crew-days",
    ),
    "a task done in no time": (
        lambda r: [changed(r, "calendar", "start_day", "4", task("dig")), changed(r, "calendar", "finish_day", "4", task("dig"))],
        "days of tasks",
    ),
    "work on a Sunday": (
        lambda r: changed(r, "calendar", "start", "2026-06-07", task("base")), "dates"),
    "work on a holiday": (
        lambda r: changed(r, "calendar", "start", "2026-06-03", task("base")), "dates"),
    "turf delivered when it is laid": (
        lambda r: changed(r, "calendar", "start_day", lambda one: one + 3, task("delivery")),
        "deliveries",
    ),
    "a percentile a third too dear": (
        lambda r: changed(r, "risk", "price", lambda one: 1.33 * one, lambda row: row["percentile"] == "90"),
        "risk",
    ),
    "a contingency": (
        lambda r: changed(r, "risk", "contingency", lambda one: one + 500), "contingency of risk"),
    "a range's end": (
        lambda r: changed(r, "risk_moves", "high", lambda one: 1.1 * one, lambda row: row["figure"] == "labour"),
        "ranges",
    ),
    "dear for cheap": (
        lambda r: changed(r, "risk_moves", "price_low", lambda one: 2 * one, lambda row: row["figure"] == "labour"),
        "ranges' ends",
    ),
    "parts of the variance": (
        lambda r: changed(r, "risk_moves", "share_pct", lambda one: one / 2), "shares of risk"),
    "water saved": (lambda r: changed(r, "water", "saved_gal", lambda one: 1.1 * one), "water saved"),
    "water now, in another unit": (
        lambda r: changed(r, "water", "baseline_gal", lambda one: 7.48 * one), "water now"),
    "water that turf takes": (
        lambda r: changed(r, "water", "use_gal", lambda one: 0.0, lambda row: row["conversion"] == "turf"),
        "water of turf",
    ),
    "a planting's cost": (
        lambda r: changed(r, "water", "capital", lambda one: one / 2, lambda row: row["conversion"] == "planting"),
        "costs of conversions",
    ),
    "more chosen than the budget pays": (
        lambda r: changed(r, "water", "chosen", "yes", lambda row: row["conversion"] == "turf"), "choice"),
    "a line of the workbook": (a_line, "workbook's lines"),
    "the workbook's price": (total("Schedule"), "workbook's schedule"),
    "the workbook's sites": (total("Sites"), "workbook's sites"),
}  # fmt: skip


@pytest.mark.parametrize("name", PLANTED)
def test_each_planted_fault_is_told(sound, tmp_path, name):
    plant, promise = PLANTED[name]
    report = tmp_path / "report"
    shutil.copytree(sound / "report", report)
    plant(report)
    told = auditing.audit(report, sound)
    assert promise in {one.promise for one in told if one.verdict == BROKEN}


def test_a_rate_in_words_that_it_does_not_know_is_said(sound, tmp_path):
    report = tmp_path / "report"
    shutil.copytree(sound / "report", report)
    content = json.loads((report / "run.json").read_text())
    content["settings"]["books"]["NV"]["rates"]["turf"] = "2 acre/h"
    (report / "run.json").write_text(json.dumps(content))
    told = {one.promise: one for one in auditing.audit(report, sound)}
    assert told["takeoff"].verdict == UNSEEN and "2 acre/h" in told["takeoff"].said
