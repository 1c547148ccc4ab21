"""Pages and papers for who cannot see them, or works by keyboard alone: no serious fault by
axe-core (general rules for pages, WCAG 2), at the width of a desk and of a telephone; PDFs are
tagged (ISO 32000-1, 14.7 and 14.8)."""

from __future__ import annotations

import geopandas
import pypdf
import pytest
from browsing import NEEDS_BROWSER, started
from shapely.geometry import box

import geoturf
from geoturf.cli import DONE, main

PAGES = ("index.html", "map.html", "client/map.html", "planner.html", "portfolio.html")
SERIOUS = ("serious", "critical")

# how many words stand in cells of tables, and those of them that are on several lines
BROKEN_WORDS = """() => {
  let count = 0
  const broken = []
  const texts = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT)
  for (let node; (node = texts.nextNode()); ) {
    if (!node.parentElement.closest("td, th")) continue
    for (const word of node.data.matchAll(/(?<!\\S)\\S{1,20}(?!\\S)/g)) {
      const range = document.createRange()
      range.setStart(node, word.index)
      range.setEnd(node, word.index + word[0].length)
      const lines = new Set([...range.getClientRects()].map(box => Math.round(box.top)))
      count += 1
      if (lines.size > 1) broken.push(word[0])
    }
  }
  return [count, broken]
}"""

BID = """
name = "Five lawns"
keep = ["OWNER"]
[[layers]]
path = "lawns.gpkg"
[water]
lay = "all"
budget = "9000 USD"
[water.climate]
place = "Vacaville"
[calendar]
start = 2026-10-05
[ranges]
[ranges.costs]
labour = ["139 USD/h", "160 USD/h"]
"""


def report(home, widths):
    """A report of lawns so wide (ft), with all pages and papers."""
    x, y = 6_352_000.0, 2_148_000.0  # feet of EPSG:2228, California zone 5
    shapes = [box(x + 100 * k, y, x + 100 * k + w, y + 31) for k, w in enumerate(widths)]
    sites = [f"{k}" for k in range(len(widths))]
    columns = {"site": sites, "cover": "cool_season_lawn", "OWNER": [f"O{k % 2}" for k in range(5)]}
    home.mkdir()
    lawns = geopandas.GeoDataFrame(columns, geometry=shapes, crs="EPSG:2228")
    lawns.to_file(home / "lawns.gpkg", engine="pyogrio")
    (home / "bid.toml").write_text(BID, encoding="utf-8")
    geoturf.write(geoturf.run(geoturf.read_bid(home / "bid.toml")), home / "out")
    return home / "out"


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """A report, and in it the page that tells it from another."""
    home = tmp_path_factory.mktemp("accessible")
    old = report(home / "old", (41, 22, 30, 25, 9))
    new = report(home / "new", (41, 24, 30, 25, 9))
    asked = ["compare", str(old), str(new), "--out", str(new / "compared"), "--quiet"]
    assert main(asked) == DONE
    return new


@pytest.fixture(scope="module")
def browser():
    with started() as it:
        yield it


def faults(browser, path, width):
    """What axe-core finds serious on a page, and how much of it passes."""
    axe = pytest.importorskip("axe_playwright_python.sync_playwright").Axe()
    page = browser.new_page(viewport={"width": width, "height": 800})
    page.goto(path.as_uri())
    found = axe.run(page).response
    page.close()
    serious = [one for one in found["violations"] if one["impact"] in SERIOUS]
    told = [(one["id"], node["html"][:90]) for one in serious for node in one["nodes"]]
    return told, len(found["passes"])


class TestPages:
    pytestmark = NEEDS_BROWSER

    @pytest.mark.parametrize("width", [1200, 390])
    @pytest.mark.parametrize("name", [*PAGES, "compared/changes.html"])
    def test_axe_finds_nothing_serious(self, browser, folder, name, width):
        told, passed = faults(browser, folder / name, width)
        assert told == [] and passed > 10

    @pytest.mark.parametrize("name", ["map.html", "planner.html"])
    def test_all_stands_in_landmarks_and_every_column_has_a_head(self, browser, folder, name):
        page = browser.new_page()
        page.goto((folder / name).as_uri())
        axe = pytest.importorskip("axe_playwright_python.sync_playwright").Axe()
        found = {one["id"] for one in axe.run(page).response["violations"]}
        page.close()
        assert not found & {"region", "empty-table-header"}

    @pytest.mark.parametrize("media", ["screen", "print"])
    @pytest.mark.parametrize("name", ["index.html", "compared/changes.html"])
    def test_tables_break_no_word(self, browser, folder, name, media):
        """On a telephone, where a table scrolls, and on a sheet of letter paper less its margins:
        words and dates of up to 20 letters stand on one line each."""
        width = {"screen": 390, "print": 710}[media]
        page = browser.new_page(viewport={"width": width, "height": 900})
        page.emulate_media(media=media)
        page.goto((folder / name).as_uri())
        page.evaluate("document.querySelectorAll('details').forEach(one => one.open = true)")
        count, broken = page.evaluate(BROKEN_WORDS)
        page.close()
        assert broken == [] and count > 30

    def test_axe_finds_what_is_planted(self, browser, folder, tmp_path):
        """A picture without words, grey on white, a list that only a mouse scrolls."""
        page = (folder / "index.html").read_text(encoding="utf-8")
        planted = (
            '<img src="data:image/gif;base64,R0lGODlhAQABAAAAACw=">'
            '<p style="color:#ccc">so faint</p>'
            f'<div style="overflow:auto;width:9rem"><p style="width:900px">{"wide " * 40}</p></div>'
        )
        (tmp_path / "page.html").write_text(page.replace("</body>", f"{planted}</body>"))
        told, _ = faults(browser, tmp_path / "page.html", 1200)
        expected = {"image-alt", "color-contrast", "scrollable-region-focusable"}
        assert {rule for rule, _ in told} == expected


def test_every_paper_is_tagged(folder):
    files = sorted(folder.rglob("*.pdf"))
    assert len(files) == 8
    for file in files:
        root = pypdf.PdfReader(file).trailer["/Root"]
        assert root["/MarkInfo"]["/Marked"].value and root["/Lang"] == "en"
        kinds = set(tags(root["/StructTreeRoot"]["/K"]))
        assert {"/Document", "/P"} <= kinds, file.name


def tags(node):
    """Kinds of all elements of a structure tree."""
    node = node.get_object() if hasattr(node, "get_object") else node
    if isinstance(node, list):
        for one in node:
            yield from tags(one)
    elif isinstance(node, dict):
        yield node.get("/S")
        if "/K" in node:
            yield from tags(node["/K"])
