"""The planner's page: what a council needs to see is on it, it asks nothing of the network, and
hostile names are text."""

import html
import re
from html.parser import HTMLParser
from types import SimpleNamespace

import pytest
from markupsafe import Markup
from water_cases import parks, turf_price, water_rules

from geoturf import planner, water
from geoturf.planner.charts import ticks
from geoturf.planner.html import table, tag
from geoturf.units import ACRE_FT_M3, GALLON_M3, HCF_M3

HOSTILE = '<script>alert(1)</script>" onload="x {{7*7}} {% raw %}'


class Reader(HTMLParser):
    """Tags and attributes of a page, and its text; complains of what is not closed."""

    def __init__(self, page):
        super().__init__()
        self.tags, self.attributes, self.open, self.texts = [], [], [], []
        self.feed(page)
        assert self.open == []

    def handle_starttag(self, name, attributes):
        self.tags.append(name)
        self.attributes += attributes
        if name != "meta":
            self.open.append(name)

    def handle_endtag(self, name):
        assert self.open.pop() == name

    def handle_data(self, data):
        self.texts.append(data)


def page(units="us", name="Quillhaven parks", sites=None, areas=4, **given_rules):
    ground = parks(*range(1_000, 1_000 * (areas + 1), 1_000), district="North")
    if sites:
        ground.areas["site"] = sites
    profile = {"min_pile_height": "1.5 in", "max_coverage": "50 %"}
    rules = water_rules(
        **{"budget": "30000 USD", "profile": profile, "ordinance": "california"} | given_rules
    )
    found = water.compare(ground, turf_price(ground, 6.0), rules, "USD")
    bid = SimpleNamespace(name=name, units=units, currency="USD", water=rules)
    return found, planner.page(SimpleNamespace(bid=bid, water=found))


@pytest.fixture(scope="module")
def shown():
    return page(areas=12)


def test_the_page_is_well_formed_and_asks_nothing_of_the_network(shown):
    reader = Reader(shown[1])
    assert "script" not in reader.tags and "link" not in reader.tags and "img" not in reader.tags
    links = [value for key, value in reader.attributes if key == "href"]
    assert links == [
        "map.html#colour=saving",
        "map.html#colour=chosen",
    ]  # the map beside it, and nothing else
    assert not [value for key, value in reader.attributes if key == "src" or key.startswith("on")]
    assert ("http-equiv", "Content-Security-Policy") in reader.attributes
    assert "http:" not in shown[1] and "https:" not in shown[1]


def test_what_a_council_needs_is_on_it(shown):
    titles = (
        "Which areas first, and why",
        "What if the budget doubles",
        "Saving against budget",
        "Totals a year",
        "Before and after by month",
        "The whole ranking",
        "Water allowance (MAWA) against estimated use (ETWU)",
        "How sure is this",
        "Local minimums for synthetic turf",
        "Cautions and limits",
    )
    texts = Reader(shown[1]).texts
    assert [title for title in titles if title not in texts] == []
    assert Reader(shown[1]).tags.count("svg") == 3


def test_factors_stand_with_their_source(shown):
    assert (
        "ASABE S623" in shown[1] and "23 CCR 491: low" in shown[1] and "efficient spray" in shown[1]
    )


def test_totals_stand_in_four_units(shown):
    found, text = shown
    saved = found.summary["chosen"]["saved_m3"]
    for unit, digits in ((GALLON_M3, 0), (HCF_M3, 0), (ACRE_FT_M3, 2), (1.0, 0)):
        assert f"{saved / unit:,.{digits}f}" in text


@pytest.mark.parametrize(
    ("law", "said", "unsaid"),
    [
        ("california", "sites that comply", "No ordinance is checked"),
        ("formula", "Worked as California&#39;s formula would", "sites that comply"),
        ("none", "No ordinance is checked: as the bid says", "MAWA ="),
        ("", "No ordinance is checked: the bid names no ordinance", "MAWA ="),
    ],
)
def test_a_verdict_is_given_only_where_an_ordinance_holds(law, said, unsaid):
    text = page(ordinance=law)[1]
    assert said in text and unsaid not in text


def test_the_page_tells_the_formula_with_the_numbers_of_a_bids_own_ordinance():
    own = {
        "law": "regional",
        "name": "Quillhaven valley",
        "source": "invented",
        "etaf": {"non_residential": 0.5, "residential": 0.5},
        "special_etaf": 0.9,
        "gallons": 0.623,
    }
    text = html.unescape(page(ordinance=own)[1])
    assert "MAWA = ETo × 0.623 (the ordinance's) × [ETAF × LA + (0.9 − ETAF) × SLA]" in text
    assert "PF × area / IE + 0.9 × SLA" in text and "144/231 for 0.623" in text
    assert "0.62 (" not in text


def test_the_ordinance_and_the_plan_stand_side_by_side_with_the_difference_named(shown):
    found, text = shown
    for plan in ("existing", "chosen"):
        row = found.differences.set_index("plan").loc[plan]
        for column in ("etwu_m3", "use_m3"):
            assert f"{row[column] / GALLON_M3:,.0f} gal" in text
    assert "-0 gal" not in text
    assert "use in every other table here" in text and "not in ETWU" in text


@pytest.mark.parametrize(
    ("rules", "why"),
    [({"longest_payback": 2}, "pays back within 2 years"), ({"budget": "1 USD"}, "no other")],
)
def test_where_nothing_is_worth_it_that_is_the_answer(rules, why):
    found, text = page(**rules)
    assert (
        found.summary["chosen"]["areas"] == 0
        and "none of 4 areas is converted" in text
        and why in text
    )
    assert not re.search(r"\bnan\b| 0\.0 years", text)
    shown = SimpleNamespace(water=found, bid=SimpleNamespace(units="us", currency="USD"))
    assert [line for line in planner.lines(shown) if line.startswith("Water: none of 4 areas")]
    assert dict(planner.facts(shown))["simple payback"] == "–"


def test_every_chart_and_mark_has_a_title(shown):
    reader = Reader(shown[1])
    marks = reader.tags.count("circle") + reader.tags.count("rect")
    assert (
        reader.tags.count("title") >= marks + reader.tags.count("svg") - 2
    )  # but for the two of the key


def test_hostile_names_are_text():
    text = page(name=HOSTILE, sites=[HOSTILE] * 4)[1]
    reader = Reader(text)
    assert "script" not in reader.tags
    assert not [key for key, _ in reader.attributes if key.startswith("on")]
    assert any(HOSTILE in piece for piece in reader.texts)


def test_metric_bids_read_metric():
    text = page(units="metric")[1]
    assert "m³ a year" in text and " gal a year" not in text


def test_text_is_escaped_and_markup_is_not():
    assert (
        tag("p", "<b>", tag("b", "&"), class_='"') == '<p class="&#34;">&lt;b&gt;<b>&amp;</b></p>'
    )
    assert isinstance(table(("a", "b"), [("<", 1)]), Markup)
    assert "&lt;" in table(("a", "b"), [("<", 1)])


@pytest.mark.parametrize(
    ("most", "steps"),
    [
        (0.0, [0, 1]),
        (10.0, [0, 2, 4, 6, 8, 10]),
        (0.9, [0, 0.2, 0.4, 0.6, 0.8, 1.0]),
        (4_100.0, [0, 1000, 2000, 3000, 4000, 5000]),
    ],
)
def test_ticks_are_round(most, steps):
    assert ticks(most) == pytest.approx(steps)


# - other rules of choice --------------------------------------------------------------------------


def read(**rules):
    """The page's text on one line, with the answer of a bid that asks otherwise."""
    found, text = page(areas=6, **rules)
    return found, " ".join(" ".join(Reader(text).texts).split())


def test_a_saving_at_least_cost_is_told_as_one():
    found, text = read(objective="cost", saving="60000 gal", budget=None, offer=["irrigation"])
    gap = found.summary["chosen"]["gap"]
    assert gap < 5e-7  # which four decimals of a per cent would tell as 0
    assert "saves 60,000 gal a year costs even 0.0001 % less" in text
    assert "cheapest way found to the saving asked for" in text
    assert "budget does not bind" not in text and "What if the budget doubles" not in text


def test_funds_are_told_with_what_is_left():
    funds = {"<north>": {"amount": "9000 USD"}, "meters": {"amount": "2000 USD"}}
    found, text = read(funds=funds, budget=None)
    for row in found.summary["funds"]:
        left = f"{row['fund']} {row['amount']:,.0f} USD {row['spent']:,.0f} USD {row['left']:,.0f}"
        assert left in text
    assert "With 11,000 USD to spend" in text


def test_a_programme_is_told_year_by_year():
    over = {"budgets": ["9000 USD", "8000 USD"], "carry_over": False}
    found, text = read(programme=over, budget=None)
    years = found.summary["programme"]["years"]
    for row in years:
        assert f"year {row['year']} {row['budget']:,.0f} USD {row['spent']:,.0f} USD" in text
    assert "is lost to the next; prices rise by 3.0 % a year" in text
    assert sum(len(row["areas"]) for row in years) == found.summary["chosen"]["areas"]


def test_the_only_area_of_a_site_goes_by_the_sites_name():
    """Areas that a file does not name are numbered: a lone "1" tells a reader nothing. Named ones
    keep their name, and of two areas each its number."""
    ground = parks(1_000, 1_100, 1_200, 1_300, area=["1", "front", "1", "2"])
    ground.areas["site"] = ["Elm", "Oak", "Yew", "Yew"]
    rules = water_rules(budget="40000000 USD")
    found = water.compare(ground, turf_price(ground, 6.0), rules, "USD")
    bid = SimpleNamespace(name="Quillhaven", units="us", currency="USD", water=rules)
    read = Reader(planner.page(SimpleNamespace(bid=bid, water=found))).texts
    assert {"Elm", "Oak, front", "Yew, 1", "Yew, 2"} <= set(read) and "Elm, 1" not in read
