"""index.html: figures are those of the tables, every link leads to a file, text stays text."""

from __future__ import annotations

import csv
import json
import re
from dataclasses import replace
from decimal import Decimal
from html.parser import HTMLParser

import pytest
from browsing import NEEDS_BROWSER, started
from hand_made import HOSTILE

import geoturf
from geoturf import front
from geoturf.model import Finding


@pytest.fixture(scope="module")
def result(lasting):
    bidder = '[bidder]\nname = "Fennimarsh"\n[client]\nname = "Meadow Trust"\n'
    lawns = (0, 0, 41.3, 33.7), (60, 0, 21.9, 30.1)
    return geoturf.run(geoturf.read_bid(lasting(*lawns, extra=bidder, site=["A", "B"])))


@pytest.fixture(scope="module")
def out(result, tmp_path_factory):
    """Its report, with all papers."""
    folder = tmp_path_factory.mktemp("front") / "out"
    geoturf.write(result, folder)
    return folder


class Read(HTMLParser):
    """A page's words, links and tags."""

    def __init__(self, page: str):
        super().__init__()
        self.links: list[str] = []
        self.tags: set[str] = set()
        self.words: list[str] = []
        self.feed(page)

    def handle_starttag(self, tag, attrs):
        self.tags.add(tag)
        self.links += [value for name, value in attrs if name in ("href", "src")]

    def handle_data(self, data):
        self.words.append(data)

    @property
    def text(self) -> str:
        return " ".join("".join(self.words).split())


def rows_of(path):
    return list(csv.DictReader(path.read_text(encoding="utf-8").splitlines()))


def test_every_link_leads_to_a_file_and_every_file_has_one(out):
    read = Read((out / "index.html").read_text(encoding="utf-8"))
    there = {path.relative_to(out).as_posix() for path in out.rglob("*") if path.is_file()}
    assert set(read.links) == there - {"index.html"}


def test_its_figures_are_those_of_the_tables(result, out):
    told = dict(front.figures(result))
    sites, plan, rolls = (rows_of(out / f"{n}.csv") for n in ("sites", "cut_plan", "rolls"))
    price = sum(Decimal(row["price"]) for row in sites)
    ground, surface = (
        sum(float(row[f"{n}_area_ft2"]) for row in sites) for n in ("ground", "surface")
    )
    bought, bound = (sum(float(row[f"{n}_ft2"]) for row in plan) for n in ("bought", "bound"))
    hours = sum(
        float(row["net_quantity"])
        for row in rows_of(out / "materials.csv")
        if row["order_unit"] == "crew-hour" and row["scope"] == "bid"
    )
    assert told == {
        "price": f"{price:,} USD",
        "price a ft² of ground": f"{float(price) / ground:,.2f} USD",
        "price, were every property bought alone": f"{result.price.lot_by_lot:,} USD",
        "properties and areas": "2 and 2",
        "ground": f"{ground:,.0f} ft²",
        "turf bought": f"{bought:,.0f} ft²",
        "waste over the ground": f"{100 * (bought / surface - 1):.1f} %",
        "over the proven bound": f"{100 * (bought / bound - 1):.1f} %",
        "rolls and lengths": str(len(rolls)),
        "crew-hours": f"{hours:,.0f}",
    }


def test_findings_that_want_an_answer_are_told_by_kind_with_what_to_do(result):
    some = [Finding("warning", "overlap", f"message {k}", site=f"S{k}") for k in range(3)]
    page = Read(front.page(replace(result, findings=(*result.findings, *some)), [])).text
    assert "site S0: message 0. And 2 more like it. What to do:" in page and "message 1" not in page
    calm = [one for one in result.findings if one.severity == "note"]
    assert "None: nothing was left out" in Read(front.page(replace(result, findings=calm), [])).text


def test_what_is_left_out_is_told_first(result):
    source = replace(result.source, left_out=2)
    page = Read(front.page(replace(result, source=source), [])).text
    assert page.index("NOT PRICED: 2 areas or files were left out") < page.index("The figures")


def test_assumptions_are_those_that_run_json_tells(result, out):
    told = json.loads((out / "run.json").read_text(encoding="utf-8"))["assumed"]
    page = Read((out / "index.html").read_text(encoding="utf-8")).text
    for part in told.partition("give yours: ")[2].split("; "):
        assert part in page


def test_it_says_who_bids_for_whom(result):
    assert "Fennimarsh · for Meadow Trust" in Read(front.page(result, [])).text
    bare = result.bid.model_copy(
        update={name: type(getattr(result.bid, name))() for name in ("bidder", "client")}
    )
    assert 'class="by"' not in front.page(replace(result, bid=bare), [])


@pytest.mark.parametrize("name", HOSTILE)
def test_text_stays_text(result, name):
    finding = Finding("warning", "overlap", name, site=name)
    bid = result.bid.model_copy(update={"name": name})
    read = Read(front.page(replace(result, bid=bid, findings=(finding,)), ["map.html"]))
    ours = {"html", "head", "meta", "title", "style", "body", "main", "h1", "h2", "h3", "p"}
    ours |= {"section", "dl", "div", "dt", "dd", "ul", "li", "span", "a", "details", "summary"}
    ours |= {"table", "thead", "tbody", "tr", "th", "td", "svg", "rect"}  # of the calendar
    assert read.tags <= ours
    assert " ".join(name.split()) in read.text


def test_it_asks_for_nothing(result):
    page = front.page(result, ["map.html"])
    assert "default-src 'none'" in page and "<script" not in page
    assert not re.search(r"https?://", page.replace("http://www.w3.org", ""))


@pytest.mark.parametrize(
    ("path", "whose"),
    [
        *(("client/map.html", "client"), ("crew/labels.pdf", "crew"), ("buyer/order.csv", "buyer")),
        *(("planner.html", "council"), ("council.pdf", "council"), ("map.html", "office")),
        *(("portfolio.html", "portfolio"), ("bid.xlsx", "office"), ("bid.csv", "tables")),
        *(("layout.gpkg", "tables"), ("run.json", "tables"), ("other/x.pdf", "tables")),
    ],
)
def test_files_are_told_by_reader(path, whose):
    assert front.reader(path) == whose


class TestOnAScreen:
    pytestmark = NEEDS_BROWSER

    def test_it_fits_a_telephone(self, out):
        with started() as browser:
            page = browser.new_page(viewport={"width": 390, "height": 844})
            asked = []
            page.on("request", lambda request: asked.append(request.url))
            page.goto((out / "index.html").as_uri())
            assert page.evaluate("document.documentElement.scrollWidth") == 390
            assert len(asked) == 1  # itself
            clipped = (
                "[...document.querySelectorAll('dd')].filter(e => e.scrollWidth > e.clientWidth)"
            )
            assert page.evaluate(f"{clipped}.length") == 0
            page.click("text=Tables and data")
            assert page.is_visible("text=run.json")
