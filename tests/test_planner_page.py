"""The planner's page as it looks: on paper nothing is cut off or folded away, and no label of a
chart lies on another."""

from __future__ import annotations

import re
from itertools import combinations
from types import SimpleNamespace

import pytest
from browsing import NEEDS_BROWSER, started
from water_cases import parks, turf_price, water_rules

from geoturf import planner, water
from geoturf.planner import charts

pytestmark = NEEDS_BROWSER
MARGIN_MM = 12
SHEETS = {"letter": 215.9, "A4": 210.0}  # width in mm: ANSI Y14.1 (8.5 in), ISO 216
MM_PX = 96 / 25.4  # CSS Values and Units 3, 5.2: 1 in = 96 px


@pytest.fixture(scope="module")
def browser():
    with started() as it:
        yield it


@pytest.fixture(scope="module")
def text() -> str:
    """A page whose numbers are as long as those of a city, with a rebate column beside all
    others."""
    ground = parks(*[700_000 + 1_000 * k for k in range(40)], district="North")
    ground.areas["site"] = [f"Quillhaven memorial park number {k}" for k in range(40)]
    profile = {"min_pile_height": "1.5 in", "max_coverage": "50 %"}
    rebate = {"amount": "1.50 USD/ft^2", "date": "2026-01-01", "terms": "as invented for this test"}
    rules = water_rules(
        budget="40000000 USD", profile=profile, conversions={"turf": {"rebate": rebate}}
    )
    found = water.compare(ground, turf_price(ground, 6.0), rules, "USD")
    bid = SimpleNamespace(name="Quillhaven parks", units="us", currency="USD", water=rules)
    return planner.page(SimpleNamespace(bid=bid, water=found))


@pytest.fixture(params=SHEETS)
def paper(browser, text, request):
    """The page laid out as for print, as wide as the sheet between its margins."""
    width = int((SHEETS[request.param] - 2 * MARGIN_MM) * MM_PX)
    page = browser.new_page(viewport={"width": width, "height": 1000})
    page.set_content(text)
    page.emulate_media(media="print")
    yield page
    page.close()


def test_the_sheet_has_the_margins_that_these_tests_reckon_with(text):
    assert f"@page {{ margin: {MARGIN_MM}mm }}" in text


def test_no_column_is_cut_off_on_paper(paper):
    beyond = paper.evaluate(
        """[...document.querySelectorAll("th, td, svg, p, li")]
          .filter((e) => e.getBoundingClientRect().right > innerWidth + 0.5).map((e) => e.textContent.slice(0, 60))"""
    )
    assert beyond == []
    assert paper.locator("th", has_text="why").first.is_visible()
    assert paper.locator("th", has_text="capital").first.is_visible()


def test_folds_are_open_on_paper_and_closed_on_the_screen(paper):
    """checkVisibility: false for what a closed fold keeps from being drawn."""
    folded = (
        "[...document.querySelectorAll('details > :not(summary)')].map((e) => e.checkVisibility())"
    )
    within = """[...document.querySelectorAll("details > :not(summary)")].map((e) => {
      const [content, fold] = [e, e.parentElement].map((x) => x.getBoundingClientRect());
      return content.height > 10 && content.bottom <= fold.bottom + 1;
    })"""
    assert paper.locator("details").count() >= 4
    assert all(paper.evaluate(folded)) and all(paper.evaluate(within))
    paper.emulate_media(media="screen")
    assert not any(paper.evaluate(folded))


def test_a_phone_scrolls_tables_and_charts_not_the_page(browser, text):
    page = browser.new_page(viewport={"width": 390, "height": 844})
    page.set_content(text)
    assert page.evaluate("document.documentElement.scrollWidth") == 390
    assert (
        min(
            page.evaluate(
                "[...document.querySelectorAll('svg')].map((e) => e.getBoundingClientRect().width)"
            )
        )
        >= 500
    )
    page.close()


# ------------------------------------------------------------------------------------------- charts


def boxes(page, selector: str) -> list[tuple[float, float, float, float]]:
    return page.evaluate(
        f"""[...document.querySelectorAll({selector!r})].map((e) => e.getBoundingClientRect())
          .map((b) => [b.left, b.top, b.right, b.bottom])"""
    )


def meet(one, other, room: float = 0.5) -> bool:
    return (
        one[0] < other[2] - room
        and other[0] < one[2] - room
        and one[1] < other[3] - room
        and other[1] < one[3] - room
    )


def drawn(browser, chart):
    page = browser.new_page(viewport={"width": 900, "height": 700})
    page.set_content(f"<style>{planner.style()}</style><main>{chart}</main>")
    return page


def clear(page) -> None:
    """No text on another, on a mark's line or on the curve's marks, and none beyond the drawing."""
    texts, lines, marks = (boxes(page, f"svg {name}") for name in ("text", ".flag", ".mark"))
    (sheet,) = boxes(page, "svg")
    words = page.locator("svg text").all_text_contents()
    for (k, one), (j, other) in combinations(enumerate(texts), 2):
        assert not meet(one, other), (words[k], words[j])
    for box, word in zip(texts, words, strict=True):
        assert not any(meet(box, (x0 - 0.6, y0, x1 + 0.6, y1)) for x0, y0, x1, y1 in lines), word
        assert not any(meet(box, mark) for mark in marks), word
        assert (
            box[0] >= sheet[0]
            and box[1] >= sheet[1]
            and box[2] <= sheet[2] + 0.5
            and box[3] <= sheet[3] + 0.5
        ), word


@pytest.mark.parametrize("budget", [100_000, 1_900_000, 2_000_000, 6_000_000, 7_400_000])
@pytest.mark.parametrize("most", [13_000_000, 14_900_000])
@pytest.mark.parametrize("scale", [1, 1_000])
def test_marks_of_the_curve_are_named_clear_of_one_another(browser, budget, most, scale):
    points = [(scale * most * k / 20, scale * 42e6 * (1 - (1 - k / 20) ** 2)) for k in range(21)]
    marks = [
        (word, scale * x, scale * 3.3 * x)
        for word, x in (("this budget", budget), ("twice", 2 * budget))
    ]
    chart = charts.curve(
        points, marks, "{:,.0f}".format, "{:,.0f}".format, ("a chart", "budget, USD", "saved, gal")
    )
    page = drawn(browser, chart)
    assert page.locator("svg .flagword").count() == 2
    clear(page)
    page.close()


@pytest.mark.parametrize(
    ("rows", "middle"),
    [
        (
            [("price of water", 735_642, 2_117_740), ("rinse and cooling", 1_288_481, 1_288_481)],
            1_288_481,
        ),
        ([("rain", -2_500_000, 1_000_000), ("capital", -100, 900_000)], 1_000_000),
        ([("rain", -9_000, -8_000), ("upkeep", -8_990, -8_980)], -9_000),
        ([("rain", 5.0, 5.0)], 5.0),
    ],
)
def test_the_chart_of_spans_has_an_axis_with_its_unit(browser, rows, middle):
    """The axis read back: where a bar ends, its value lies on the line through the axis's marks."""
    titles = ("a chart", "net present value, USD")
    page = drawn(
        browser, charts.spans(rows, middle, lambda v: f"{v:,.0f} USD", titles, "as it stands")
    )
    clear(page)
    assert page.locator("svg .axis").text_content() == titles[1]
    words = page.locator("svg .label").all_text_contents()
    steps = [float(word.replace(",", "")) for word in words if re.fullmatch(r"-?[\d,]+", word)]
    at = [left for left, *_ in boxes(page, "svg .grid")]
    assert len(steps) == len(at) >= 2
    each = (at[-1] - at[0]) / (steps[-1] - steps[0])
    for (_, *ends), (left, _, right, _) in zip(rows, boxes(page, "svg .span"), strict=True):
        assert left == pytest.approx(at[0] + each * (min(ends) - steps[0]), abs=0.6)
        assert right == pytest.approx(at[0] + each * (max(ends) - steps[0]), abs=2.5)
    assert (
        steps[0] <= min(min(ends) for _, *ends in rows)
        and max(max(ends) for _, *ends in rows) <= steps[-1]
    )
    page.close()
