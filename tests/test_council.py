"""council.pdf: the planner's memo. Its figures are those of planner.html, it has two pages, and
what means harm is printed as text."""

from __future__ import annotations

import io
import re
from functools import cache
from html.parser import HTMLParser
from types import SimpleNamespace

import pypdf
import pytest
from hand_made import HOSTILE, made
from water_cases import ETO_51_1, parks, turf_price

from geoturf import papers, planner, water
from geoturf.bid import make_bid
from geoturf.papers import council, press

BARE = {"layers": [{"path": "parks.geojson"}]}
PROFILE = {"name": "town standard", "min_pile_height": "1.5 in", "max_coverage": "50 %"}
TABLE = {
    "climate": {"eto": ETO_51_1},
    "curve_points": 5,
    "longest_payback": 0,
    "budget": "90000 USD",
    "profile": PROFILE,
    "ordinance": "california",
}


@cache  # a test changes none of it
def compared(sites, areas, **water_table):
    """The ground and its comparison, in which neither the page, the units nor the name has a
    part."""
    ground = parks(*range(1_000, 1_000 * (areas + 1), 1_000), district="North")
    if sites:
        ground.areas["site"] = list(sites)
    rules = make_bid(BARE | {"water": TABLE | water_table}, file="parks.toml").water
    return ground, water.compare(ground, turf_price(ground, 6.0), rules, "USD")


def result(page="letter", units="us", sites=None, areas=14, name="Quillhaven parks", **water_table):
    bid = make_bid(
        BARE
        | {
            "name": name,
            "units": units,
            "terms": {"page": page},
            "bidder": {"name": "Quillhaven Town Works"},
            "water": TABLE | water_table,
        },
        file="parks.toml",
    )
    ground, found = compared(sites, areas, **water_table)
    return SimpleNamespace(bid=bid, water=found, all_ground=ground)


def pdf_of(told) -> pypdf.PdfReader:
    return pypdf.PdfReader(io.BytesIO(press.printed("council", council.data(told))))


def text_of(told) -> str:
    return " ".join(" ".join(page.extract_text() for page in pdf_of(told).pages).split())


class Words(HTMLParser):
    """The text of a page, without its style."""

    def __init__(self, page: str):
        super().__init__()
        self.found, self.styled = [], False
        self.feed(page)

    def handle_starttag(self, name, attributes):
        self.styled = name == "style"

    def handle_endtag(self, name):
        self.styled = False

    def handle_data(self, data):
        if not self.styled:
            self.found.append(data)


def figures(text: str) -> set[str]:
    """Numbers of three figures and more, as they are written."""
    return {n for n in re.findall(r"\d[\d,.]*\d", text) if len(re.sub(r"\D", "", n)) >= 3}


@pytest.mark.parametrize("page", ["letter", "a4"])
def test_the_memo_has_two_pages_and_all_its_parts(page):
    told = result(page=page)
    reader = pdf_of(told)
    assert len(reader.pages) == 2
    text = text_of(told)
    for part in (
        "The question",
        "The answer",
        "What it costs and saves",
        "What more or less money saves",
        "The first areas",
        "What is unsure",
        "What was assumed",
        "Local rules to check before a vote",
        "Cautions",
    ):
        assert part in text
    width, height = (612, 792) if page == "letter" else (595.28, 841.89)  # ANSI Y14.1, ISO 216
    assert reader.pages[0].mediabox.width == pytest.approx(width, abs=0.1)
    assert reader.pages[0].mediabox.height == pytest.approx(height, abs=0.1)


@pytest.mark.parametrize("units", ["us", "metric"])
def test_every_figure_of_the_memo_stands_on_the_planners_page(units):
    told = result(units=units)
    page = " ".join(Words(planner.page(told)).found)
    asked = figures(council.question(planner.shown.Shown(told)))  # what the bid itself says
    own = figures(text_of(told)) - asked
    assert len(own) > 45
    assert own <= figures(page)


def test_the_first_ten_areas_stand_in_the_order_of_the_choice():
    told = result(budget="900000 USD")
    rows = council.data(told)["first"]["rows"]
    chosen = told.water.table[told.water.table["chosen"]].sort_values("rank")
    assert len(chosen) >= 10
    assert [row[1] for row in rows] == [f"{site}, lawn" for site in chosen["site"].head(10)]


def test_what_the_memo_says_of_local_rules_is_counted_anew():
    told = result()
    text = text_of(told)
    comply = told.water.compliance.groupby("plan", sort=False)["complies"]
    for plan, part in comply:
        assert f"{plan}: {sum(part)} of {len(part)} sites comply." in text
    failing = sum(told.water.profile["result"] == "fail")
    if len(told.water.profile):
        assert f"town standard: {failing} of {len(told.water.profile)} checks fail" in text


def test_where_nothing_is_chosen_the_memo_says_so_and_leaves_no_hole():
    text = text_of(result(budget="1 USD"))
    assert "none of 14 areas is converted" in text
    assert "The first areas" not in text


def test_what_was_assumed_is_told_without_keys_of_the_bid():
    """Nor is a choice proved the best told as one of "0.0000 % more"."""
    text = text_of(result())
    assumed = text.partition("What was assumed")[2].partition("Local rules")[0]
    assert "geoturf's own round assumptions" in assumed and "kept line" in assumed
    assert not {"_", "^"} & set(assumed) and "water:" not in assumed
    assert "0.0000 % more" not in text and "saves even 0.0001 % more water" in text


def test_without_a_budget_there_is_no_line_of_one():
    text = text_of(result(budget=None))
    assert "twice the budget" not in text and "this plan" in text


def test_hostile_names_are_printed_as_text():
    names = [*HOSTILE[:7], "#import $x$ \\", "long" * 125]
    told = result(sites=tuple(names), areas=len(names), name="#let $x$ <b>", budget="9000000 USD")
    text = text_of(told)
    assert "#let $x$ <b>" in text
    for name in ("{{ 7*7 }}", "#import $x$ \\", "<!-- <b>&amp;"):
        assert f"{name}, lawn" in text
    assert "long" * 125 in text.replace(" ", "").replace("\u200b", "")


def test_the_same_choice_gives_the_same_bytes():
    once, again = (press.printed("council", council.data(result())) for _ in range(2))
    assert once == again


def test_the_memo_is_printed_however_large_the_bid_is_and_only_where_water_is_compared(
    tmp_path, monkeypatch
):
    monkeypatch.setattr(papers, "_few", lambda told: False)
    papers.write(result(), tmp_path, None)
    assert [path.name for path in tmp_path.iterdir()] == ["council.pdf"]
    dry = tmp_path / "dry"
    dry.mkdir()
    papers.write(made(["A"]), dry, ["council"])
    assert list(dry.iterdir()) == []


def asked_of(**table) -> str:
    """The memo's question for six lawns of a bid that asks otherwise."""
    given = {"climate": {"eto": ETO_51_1}, "offer": ["irrigation"], "longest_payback": 0} | table
    bid = make_bid({"layers": [{"path": "parks.geojson"}], "water": given}, file="parks.toml")
    ground = parks(*range(1_000, 7_000, 1_000), district="North")
    found = water.compare(ground, None, bid.water, "USD")
    return council.question(planner.shown.Shown(SimpleNamespace(bid=bid, water=found)))


def test_other_rules_of_choice_are_told_in_the_question():
    least = asked_of(objective="cost", saving="60000 gal")
    assert "what is asked for at least cost" in least and "At least 60,000 gal a year" in least
    must = [{"column": "district", "values": ["North"], "conversion": "irrigation"}]
    ordered = asked_of(must=must)
    assert "By order must convert: district North, irrigation." in ordered
    assert "for what it may: grant." in asked_of(funds={"grant": {"amount": "9000 USD"}})
    assert "over 2 years" in asked_of(programme={"budgets": ["900 USD", "9000 USD"]})
