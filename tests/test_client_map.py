"""The client's map holds prices and nothing else of the office's, in any byte, encoded or not."""

from __future__ import annotations

import re
from collections.abc import Iterator
from decimal import Decimal

import numpy as np
import pandas as pd
import pytest
from hand_made import made, water_of
from office import WORDS, office_figures
from page_read import islands_of, read_ints

import geoturf
from geoturf import maps
from geoturf.maps import audience, frame


@pytest.fixture
def result(lawns, bid_file):
    lawns(
        (0, 0, 41.3, 33.7),
        (44, 0, 21.9, 30.1),
        (200, 0, 33.3, 18.6),
        site=["A", "A", "B"],
        area=["1", "2", "1"],
    )
    return geoturf.run(
        geoturf.read_bid(
            bid_file("[price]\noverhead = 0.137\nprofit = 0.113\ncontingency = 0.031\n")
        )
    )


def texts(value: object) -> Iterator[str]:
    if isinstance(value, dict):
        value = [*value, *value.values()]
    if isinstance(value, list):
        for item in value:
            yield from texts(item)
    elif isinstance(value, str):
        yield value


def numbers_of(page: str) -> set[int]:
    """Every number of a page times 10^0, 1, 2, 4: those in its text, and those that its data blocks
    hold encoded."""
    plain = page.replace(frame.leaflet_whole(), "")
    found = {float(n.replace(",", "")) for n in re.findall(r"\d[\d,]*(?:\.\d+)?", plain)}
    out = {round(n * 10**k) for n in found for k in (0, 1, 2, 4)}
    for text in texts(islands_of(page)):
        if re.fullmatch(r"(?:[A-Za-z0-9+/]{4})*(?:[A-Za-z0-9+/]{2}==|[A-Za-z0-9+/]{3}=)?", text):
            out |= {n for written in read_ints(text) for n in (written, written - 1)}
    return out


def told(figures: dict[str, float], page: str) -> set[str]:
    """Which of the figures a page holds, to any of the places that a reader would know it by."""
    numbers = numbers_of(page)
    return {
        place
        for place, figure in figures.items()
        if any(abs(n := round(figure * 10**k)) >= 1000 and n in numbers for k in (0, 1, 2, 4))
    }


def test_no_byte_of_the_client_map_holds_a_figure_of_the_office(result):
    figures = office_figures(result)
    assert {place.split("[")[0] for place in figures} >= {
        "sites.cost",
        "cut_plan.bound_ft2",
        "build_up.amount",
    }
    assert told(figures, maps.page(result, "us", maps.CLIENT)) == set()


def test_the_search_finds_them_in_the_office_map(result):
    """So that the test above can fail."""
    found = {place.split("[")[0] for place in told(office_figures(result), maps.page(result, "us"))}
    assert found >= {
        "areas.turf_bought_ft2",
        "sites.cost",
        "pieces.length_ft",
        "cut_plan.bought_ft2",
    }


def test_no_byte_of_the_client_map_holds_a_word_of_the_office(result):
    """But for Leaflet's own text and the cautions, which are everybody's."""
    page = maps.page(result, "us", maps.CLIENT).replace(frame.leaflet_whole(), "")
    for caution in result.takeoff.cautions:
        page = page.replace(frame.island("", caution).split(">", 1)[1].rsplit("<", 1)[0], "")
    page = re.sub(r"<style>.*?</style>", "", page, flags=re.DOTALL)
    assert re.findall(WORDS, page, flags=re.IGNORECASE) == []
    assert re.findall(WORDS, maps.page(result, "us"), flags=re.IGNORECASE)


def test_the_client_map_tells_each_price(result):
    data = islands_of(maps.page(result, "us", maps.CLIENT))
    for key, want in (
        ("sites", result.price.sites["price"]),
        ("figures", result.price.areas["price"]),
    ):
        column = next(c for c in data["geoturf-areas"][key] if c["label"] == "price")
        assert [Decimal(n - 1) / 100 for n in read_ints(column["numbers"])] == want.tolist()
    assert dict(data["geoturf-bid"]["totals"])["price"] == f"{result.price.totals['price']:,} USD"
    assert data["geoturf-bid"]["cautions"] == list(result.takeoff.cautions)


def test_each_map_says_whose_it_is(result):
    office, client = (
        islands_of(maps.page(result, "us", a))["geoturf-bid"] for a in (maps.OFFICE, maps.CLIENT)
    )
    assert (office["title"], client["title"]) == (
        "Two lawns: office map",
        "Two lawns: map and prices",
    )
    assert "Not for the client" in office["note"] and client["note"] == ""


def test_water_stays_in_the_office():
    result = made(["a", "b"], water=water_of(4))
    assert islands_of(maps.page(result, "us"))["geoturf-water"]
    assert islands_of(maps.page(result, "us", maps.CLIENT))["geoturf-water"] == {}


@pytest.mark.parametrize("units", ["us", "metric"])
def test_a_column_unheard_of_stays_in_the_office(units):
    suffix = "ft2" if units == "us" else "m2"
    table = pd.DataFrame(
        {
            "site": ["a"],
            f"ground_area_{suffix}": [1.0],
            "price": [2],
            f"secret_{suffix}": [3],
            "new": [4],
        }
    )
    table.attrs["decimals"] = {}
    assert list(audience.CLIENT.trimmed(table)) == ["site", f"ground_area_{suffix}", "price"]
    assert list(audience.OFFICE.trimmed(table)) == list(table)


def test_where_areas_lie_is_the_same_for_both():
    office, client = (
        islands_of(maps.page(made(["a", "b"]), "us", a)) for a in (maps.OFFICE, maps.CLIENT)
    )
    for key in ("borders", "inner", "site", "area"):
        assert office["geoturf-areas"][key] == client["geoturf-areas"][key]
    arrows = []
    for data in (office, client):
        corner = np.cumsum(
            np.array(read_ints(data["geoturf-pieces"]["corners"])).reshape(-1, 2), axis=0
        ).reshape(-1, 3, 2)
        arrows.append(np.degrees(np.arctan2(*np.moveaxis(corner[:, 1] - corner[:, 0], 1, 0))))
    assert np.abs(np.subtract(*arrows)).max() < 0.01  # the pile's direction
