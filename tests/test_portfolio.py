"""portfolio.html and portfolio.pdf: sums by group are those of the CSVs, text stays text, and the
page sorts, filters and downloads."""

from __future__ import annotations

import csv
import io
import json
import re
from dataclasses import replace
from decimal import Decimal
from functools import cache

import geopandas
import numpy as np
import pypdf
import pytest
from browsing import NEEDS_BROWSER, started
from hand_made import HOSTILE, made
from shapely.geometry import box

import geoturf
from geoturf import portfolio
from geoturf.model import KEPT
from geoturf.portfolio import figures

OWNERS = ["Alder & Co", "Sedge", "Alder & Co", "</script><b>", "=1+1"]
BID = """
name = "Kept"
keep = ["OWNER", "REGION"]
[[layers]]
path = "lawns.gpkg"
sigma = "0.5 ft"
[water]
lay = "all"
[water.climate]
place = "Vacaville"
"""


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """A report of five lawns on four sites, with water."""
    home = tmp_path_factory.mktemp("portfolio")
    x, y = 6_352_000.0, 2_148_000.0  # feet of EPSG:2228, California zone 5
    sizes = [(0, 0, 41, 33), (60, 0, 22, 14), (200, 0, 30, 20), (400, 0, 25, 25), (600, 0, 9, 31)]
    geopandas.GeoDataFrame(
        {
            "site": ["A", "A", "B", "C", "D"],
            "area": ["1", "2", "1", "1", "1"],
            "cover": "cool_season_lawn",
            "OWNER": OWNERS,
            "REGION": ["North", "North", "South", "South", None],
        },
        geometry=[box(x + a, y + b, x + a + w, y + b + d) for a, b, w, d in sizes],
        crs="EPSG:2228",
    ).to_file(home / "lawns.gpkg", engine="pyogrio")
    (home / "bid.toml").write_text(BID, encoding="utf-8")
    result = geoturf.run(geoturf.read_bid(home / "bid.toml"))
    geoturf.write(result, home / "out", readers=["portfolio"])
    return result, home / "out"


def rows_of(path):
    return list(csv.DictReader(path.read_text(encoding="utf-8").splitlines()))


@cache
def large(count=10_000):
    """A result of many sites with two areas each, by eleven owners."""
    told = made([f"Lot {k}" for k in range(count)])
    told.ground.areas[f"{KEPT}OWNER"] = [f"Owner {k % 11}" for k in range(2 * count)]
    return told


@pytest.mark.parametrize("group", ["OWNER", "REGION"])
def test_sums_by_group_are_those_of_the_csvs(folder, group):
    result, out = folder
    areas = rows_of(out / "areas.csv")
    chosen = {
        (row["site"], row["area"]): float(row["saved_gal"])
        for row in rows_of(out / "water.csv")
        if row["chosen"] == "yes"
    }
    sums = figures.sums(figures.land(result), f"by {group}")
    names = {row[group].removeprefix("'") or "(none)" for row in areas}
    assert set(sums.index) == names and len(names) >= 3
    for name, told in sums.iterrows():
        own = [row for row in areas if (row[group].removeprefix("'") or "(none)") == name]
        ground = sum(float(row["ground_area_ft2"]) for row in own)
        price = sum(Decimal(row["price"]) for row in own)
        bought = sum(float(row["turf_bought_ft2"]) for row in own)
        surface = sum(float(row["surface_area_ft2"]) for row in own)
        tolerance = np.hypot.reduce([float(row["area_tolerance_ft2"]) for row in own])
        saved = sum(chosen.get((row["site"], row["area"]), 0.0) for row in own)
        assert told["cents"] == 100 * price
        assert told["ground"] == pytest.approx(ground, rel=1e-12)
        assert told["each"] == pytest.approx(float(price) / ground, rel=1e-12)
        assert told["waste"] == pytest.approx(100 * (bought / surface - 1), rel=1e-9)
        assert told["tolerance"] == pytest.approx(tolerance, rel=1e-12)
        assert told["saved"] == pytest.approx(saved, rel=1e-12)
        assert told["sites"] == len({row["site"] for row in own})


def test_every_site_has_the_price_and_tolerance_of_sites_csv(folder):
    """One sigma of a sum of independent errors: the root of the sum of squares (GUM 5.1.2)."""
    result, out = folder
    told = figures.sites(figures.land(result))
    for row in rows_of(out / "sites.csv"):
        own = told.loc[row["site"]]
        assert own["cents"] == 100 * Decimal(row["price"])
        assert own["price_tolerance"] == pytest.approx(float(row["price_tolerance"]), rel=2e-3)
        assert own["waste"] == pytest.approx(float(row["waste_pct"]), abs=0.02)


def test_the_outliers_are_the_dearest_the_most_wasteful_and_the_least_certain(folder):
    result, out = folder
    sites = rows_of(out / "sites.csv")
    land = figures.land(result)
    first = {one.title: one.rows[0][0] for one in figures.outliers(land, figures.sites(land))}
    each = {row["site"]: float(row["price"]) / float(row["ground_area_ft2"]) for row in sites}
    unsure = {row["site"]: float(row["price_tolerance"]) / float(row["price"]) for row in sites}
    waste = {row["site"]: float(row["waste_pct"]) for row in sites}
    assert first["Dearest a ft²"] == max(each, key=each.get)
    assert first["Least certain"] == max(unsure, key=unsure.get)
    assert waste[first["Most waste"]] == max(waste.values())


def test_without_kept_columns_and_groups_there_is_no_hole():
    told = made(["A", "B"])
    for name in ("phase", "product", "use"):
        told.ground.areas[name] = told.ground.areas[name].iloc[0]
    page = re.sub(r"<script.*?</script>", "", portfolio.page(told), flags=re.DOTALL)
    assert re.findall("<h2>(.*?)</h2>", page) == [
        "All together",
        "What stands out",
        "Where the 2 sites lie",
        "Every site",
    ]
    assert "No layer states how accurate it is" in page and "nan" not in page


def test_where_nothing_is_bought_no_site_stands_out_by_price_or_waste():
    told = made(["A", "B"])
    land = figures.land(told)
    assert {one.title for one in figures.outliers(land, figures.sites(land))} >= {"Most waste"}
    none = dict.fromkeys(("surface", "bought", "cents", "cents_variance"), 0)
    nothing = replace(land, areas=land.areas.assign(**none))
    assert figures.outliers(nothing, figures.sites(nothing)) == []
    assert "Turf is chosen nowhere" in " ".join(figures.notes(replace(nothing, water=True)))


def test_hostile_names_stay_text():
    told = made(list(HOSTILE))
    told.ground.areas[f"{KEPT}<i>OWNER"] = list(HOSTILE) * 2
    page = portfolio.page(told)
    tags = set(re.findall(r"<(\w+)", re.sub(r"<script>.*?</script>", "", page, flags=re.S)))
    assert not tags & {"img", "i", "iframe"}
    assert page.count("<script") == page.count("</script>") == 2  # the data and our own
    data = re.search(r'id="geoturf-sites">(.*?)</script>', page, re.S)[1]
    assert HOSTILE[0] in json.loads(data)["columns"][0]["words"]


def test_the_page_asks_for_nothing_and_runs_nothing_but_its_own(folder):
    page = (folder[1] / "portfolio.html").read_text("utf-8")
    policy = re.search(r'Content-Security-Policy" content="([^"]*)"', page)[1]
    assert "default-src 'none'" in policy and "unsafe" not in policy
    assert not re.findall(r"(?:src|href)=", page)


def test_the_same_result_gives_the_same_bytes(folder):
    result, out = folder
    assert portfolio.page(result) == (out / "portfolio.html").read_text("utf-8")


def test_the_paper_tells_the_same_groups(folder):
    result, out = folder
    pages = pypdf.PdfReader(io.BytesIO((out / "portfolio.pdf").read_bytes())).pages
    text = " ".join(" ".join(page.extract_text() for page in pages).split())
    told = figures.by_group(figures.land(result), "OWNER")
    for row in told.rows:
        assert row[0] in text and row[4] in text


# ------------------------------------------------------------------------------- in a browser


@pytest.fixture(scope="module")
def browser():
    with started() as it:
        yield it


def opened(browser, path, width=1000):
    page = browser.new_page(viewport={"width": width, "height": 900})
    page.faults = []
    page.on("pageerror", lambda fault: page.faults.append(str(fault)))
    page.on("console", lambda said: page.faults.append(said.text))
    page.goto(path.as_uri())
    return page


def cells(page, column):
    return page.locator(f"#sites tbody tr td:nth-child({column})").all_text_contents()


browsed = [pytest.mark.browser, NEEDS_BROWSER[1]]


class TestInABrowser:
    pytestmark = browsed

    def test_sites_are_sorted_filtered_and_summed(self, browser, folder):
        page = opened(browser, folder[1] / "portfolio.html")
        by_site = {row["site"]: row for row in rows_of(folder[1] / "sites.csv")}
        assert cells(page, 1) == ["A", "B", "C", "D"]
        page.get_by_role("button", name="price, USD").last.click()
        assert cells(page, 1) == sorted(by_site, key=lambda site: Decimal(by_site[site]["price"]))
        page.get_by_label("REGION").select_option("South")
        assert sorted(cells(page, 1)) == ["B", "C"]
        price = Decimal(by_site["B"]["price"]) + Decimal(by_site["C"]["price"])
        ground = sum(float(by_site[site]["ground_area_ft2"]) for site in "BC")
        told = page.text_content("#sums")
        assert f"price, USD: {price:,}" in told and f"ground, ft²: {ground:,.0f}" in told
        page.get_by_label("Find").fill("</script>")
        assert cells(page, 1) == ["C"]
        assert page.faults == []

    def test_what_is_shown_can_be_downloaded_guarded(self, browser, folder):
        page = opened(browser, folder[1] / "portfolio.html")
        page.get_by_label("Find").fill("=1+1")
        with page.expect_download() as caught:
            page.locator("#sites").get_by_role("button", name="Download CSV").click()
        (row,) = rows_of(caught.value.path())
        assert row["site"] == "D" and row["OWNER"] == "'=1+1"

    def test_nothing_runs_off_a_telephone(self, browser, folder):
        page = opened(browser, folder[1] / "portfolio.html", width=390)
        assert page.evaluate("document.documentElement.scrollWidth") == 390

    def test_ten_thousand_sites_are_found_at_once(self, browser, tmp_path):
        (tmp_path / "large.html").write_text(portfolio.page(large()), encoding="utf-8")
        page = opened(browser, tmp_path / "large.html")
        assert "sites: 10,000 of 10,000" in page.text_content("#sums")
        assert len(cells(page, 1)) == 200
        page.get_by_label("Find").fill("lot 9999")
        assert cells(page, 1) == ["Lot 9999"]
        assert page.faults == []


def test_estimated_turf_has_the_waste_that_the_sites_table_tells(lawns, bid_file):
    """What is estimated has no pieces, and still takes more turf than its surface."""
    lawns((0, 0, 40, 30), (100, 0, 22, 41), site=["A", "B"])
    result = geoturf.run(geoturf.read_bid(bid_file('[layout]\nmethod = "estimate"\n')))
    sums = figures.sums(figures.land(result), "site")
    told = geoturf.tables.sites(result).set_index("site")["waste_pct"]
    assert (told > 0).all()
    assert sums["waste"].to_numpy() == pytest.approx(told[sums.index].to_numpy(), abs=0.006)
