"""What goes to the client: its figures are those of the tables, it tells nothing of the office, and
what is not given leaves no hole."""

from __future__ import annotations

import csv
import datetime
import io
import re
from dataclasses import replace
from decimal import ROUND_HALF_UP, Decimal

import pandas as pd
import pypdf
import pytest
from hand_made import made
from office import WORDS, office_figures
from pypdf.generic import StreamObject, TextStringObject

import geoturf
from geoturf import tables
from geoturf.papers import PAPERS, press, proposal

TERMS = """
[bidder]
name = "Alder & Sedge Groundworks"
address = "12 Kiln Lane\\nQuillhaven"
licence = "Q-4471"
[client]
name = "Meadow Trust"
[terms]
date = 2026-03-02
valid_until = 2026-05-01
inclusions = ["Permits of the town."]
exclusions = ["Fences."]
allowances = ["Rock: 10 hours of breaking."]
payment = "30 days after each phase."
warranty = "Two years on seams."
signatures = ["For the bidder", "For the client"]
[terms.phases.2]
start = 2026-06-01
[price]
overhead = 0.137
profit = 0.113
contingency = 0.031
[[price.alternates]]
title = "No infill"
leave_out = ["infill"]
[ranges.costs]
labour = ["139.5 USD/h", "163.5 USD/h"]
"""


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """A report of three lawns on two sites, in two phases."""
    import geopandas
    from shapely.geometry import box

    home = tmp_path_factory.mktemp("offer")
    x, y = 6_352_000.0, 2_148_000.0  # feet of EPSG:2228, California zone 5
    sizes = [(0, 0, 41.3, 33.7), (44, 0, 21.9, 30.1), (200, 0, 33.3, 18.6)]
    geopandas.GeoDataFrame(
        {"site": ["A", "A", "B"], "area": ["1", "2", "1"], "phase": ["1", "1", "2"]},
        geometry=[box(x + a, y + b, x + a + w, y + b + d) for a, b, w, d in sizes],
        crs="EPSG:2228",
    ).to_file(home / "lawns.gpkg", engine="pyogrio")
    text = f'name = "Two lawns"\n[[layers]]\npath = "lawns.gpkg"\n{TERMS}'
    (home / "bid.toml").write_text(text, encoding="utf-8")
    result = geoturf.run(geoturf.read_bid(home / "bid.toml"))
    geoturf.write(result, home / "out", readers=["client"])
    return result, home / "out"


@pytest.fixture
def result(folder):
    return folder[0]


@pytest.fixture
def client(folder):
    return folder[1] / "client"


def rows_of(path):
    return list(csv.DictReader(path.read_text(encoding="utf-8").splitlines()))


def text_of(pdf: bytes) -> str:
    pages = pypdf.PdfReader(io.BytesIO(pdf)).pages
    return "\n".join(page.extract_text() for page in pages)


def proposal_of(result, **changed) -> str:
    """The text of a proposal with tables of the bid changed."""
    rules = {
        name: getattr(result.bid, name).model_copy(update=new) for name, new in changed.items()
    }
    bid = result.bid.model_copy(update=rules)
    return text_of(press.printed("proposal", proposal.data(replace(result, bid=bid))))


def every_text(path) -> str:
    """All a file holds: of a PDF the text of its pages, its streams unpacked, its strings."""
    content = path.read_bytes()
    if path.suffix != ".pdf":
        return content.decode("utf-8")
    reader = pypdf.PdfReader(io.BytesIO(content))
    found = [text_of(content), content.decode("latin-1")]
    found += [_plain(reader.get_object(number)) for number in reader.xref[0] or ()]
    found += [_plain(reader.get_object(number)) for number in reader.xref_objStm]
    return "\n".join(found)


def _plain(part) -> str:
    if isinstance(part, StreamObject):
        return part.get_data().decode("latin-1")
    if isinstance(part, dict):
        return "\n".join(map(_plain, part.values()))
    if isinstance(part, list):
        return "\n".join(map(_plain, part))
    return str(part) if isinstance(part, TextStringObject) else ""


def told(figures, path) -> set[str]:
    """Which figures a file holds, as they are in the office's tables or shown with commas. Whole
    numbers are sought where they can be read: a PDF's own are lengths, places and coordinates."""
    seen = text_of(path.read_bytes()) if path.suffix == ".pdf" else every_text(path)
    numbers = {float(n.replace(",", "")) for n in re.findall(r"\d[\d,]*(?:\.\d+)?", seen)}
    written = {float(n.replace(",", "")) for n in re.findall(r"\d[\d,]*\.\d\d", every_text(path))}
    return {place for place, figure in figures.items() if figure in numbers | written}


# ------------------------------------------------------------------------- nothing of the office


def test_no_byte_of_what_goes_to_the_client_holds_a_figure_of_the_office(result, client):
    figures = office_figures(result)
    assert len(figures) > 40 and {"risk.price[0]", "risk_moves.price_low[0]"} <= figures.keys()
    for path in client.iterdir():
        if path.suffix != ".html":  # its data are encoded; tests/test_client_map.py reads them
            assert told(figures, path) == set(), path.name


def test_the_search_finds_them_where_they_are(result, folder):
    """So that the test above can fail: in a table of the office, and in a PDF that holds one."""
    figures, out = office_figures(result), folder[1]
    assert "sites.cost[0]" in told(figures, out / "sites.csv")
    cost = str(result.price.sites["cost"].iloc[0])
    data = proposal.data(result) | {"payment": [f"{float(cost):,.2f} waste"]}
    (out.parent / "leak.pdf").write_bytes(press.printed("proposal", data))
    leaked = out.parent / "leak.pdf"
    assert "sites.cost[0]" in told(figures, leaked)
    assert "waste" in re.findall(WORDS, every_text(leaked), flags=re.IGNORECASE)


def test_no_byte_holds_a_word_of_the_office(result, client):
    """But for the cautions, which are everybody's."""
    for path in (client / "proposal.pdf", client / "prices.csv"):
        text = " ".join(every_text(path).split())
        if path.suffix == ".pdf":
            start, end = text.index("Cautions •"), text.index("Price of each property")
            text = text[:start] + text[end:]
        assert re.findall(WORDS, text, flags=re.IGNORECASE) == [], path.name


# -------------------------------------------------------------------------------------- its sums


def test_prices_add_up_to_the_price_by_item_phase_and_site(result, client):
    rows = rows_of(client / "prices.csv")
    for kind in ("item", "phase", "site", "price"):
        sums = sum(Decimal(row["price"]) for row in rows if row["kind"] == kind)
        assert sums == result.price.totals["price"], kind


def test_the_proposal_tells_the_prices_of_the_tables(client, folder):
    text = text_of((client / "proposal.pdf").read_bytes())
    for row in rows_of(client / "prices.csv"):
        if row["kind"] in ("phase", "site", "price"):
            assert f"{Decimal(row['price']):,.2f}" in text, row
    rows = rows_of(folder[1] / "alternates.csv")
    (other,) = [row for row in rows if row["scope"] == "bid" and not row["line"]]
    difference = Decimal(other["difference"])
    assert difference < 0 and f"deduct {-difference:,.2f} USD" in " ".join(text.split())


def test_the_schedule_adds_up_to_the_price(result):
    *lines, last = proposal.data(result)["schedule"]
    amounts = [Decimal(line[-1].replace(",", "")) for line in lines]
    for _, _, quantity, _, each, extension in lines:
        product = Decimal(quantity.replace(",", "")) * Decimal(each.replace(",", ""))
        assert f"{product.quantize(Decimal('0.01'), ROUND_HALF_UP):,}" == extension
    assert f"{sum(amounts):,.2f}" == last[-1] and sum(amounts) == result.price.totals["price"]


# ------------------------------------------------------------------------------- given or not given


def test_what_the_bid_says_stands_there(client):
    text = " ".join(text_of((client / "proposal.pdf").read_bytes()).split())
    for said in (
        *("Alder & Sedge Groundworks", "12 Kiln Lane", "Licence Q-4471", "Meadow Trust"),
        *("March 2, 2026", "Holds until May 1, 2026", "Permits of the town.", "Fences."),
        *("Rock: 10 hours of breaking.", "30 days after each phase.", "Two years on seams."),
        *("For the bidder", "For the client", "June 1, 2026", "Phase 2"),
    ):
        assert said in text, said


def test_what_is_not_given_leaves_no_hole(result):
    empty = {
        table: {name: info.get_default() for name, info in type(rules).model_fields.items()}
        for table in ("bidder", "client", "terms")
        for rules in [getattr(result.bid, table)]
    }
    undated = replace(result, calendar=replace(result.calendar, first=None))
    text = proposal_of(undated, **empty)
    for heading in ("Not included", "Allowances", "Payment", "Warranty", "Agreed", "Holds until"):
        assert heading not in text
    assert "start finish" not in text and "Licence" not in text
    assert text.startswith("Proposal\nTwo lawns\nSynthetic turf, supplied")


def test_without_alternates_there_is_no_word_of_them(result):
    price = replace(result.price, alternates=result.price.alternates.iloc[:0])
    data = proposal.data(replace(result, price=price))
    assert "Alternates" not in text_of(press.printed("proposal", data))


def test_each_price_says_in_what_money(client):
    """The schedule's amounts, those of properties, and what is told outright."""
    text = text_of((client / "proposal.pdf").read_bytes())
    assert "price, USD" in text[text.index("Price of each property") :]


def test_areas_along_a_slope_are_told_beside_those_of_the_ground(result):
    land = result.ground.areas
    said = "Areas of this schedule are of the surface, along the slope; ground is measured level."
    for rise, is_told in ((1.0, False), (1.0002, True)):
        steep = land.assign(surface_area_m2=land["ground_area_m2"] * rise)
        ground = replace(result.ground, areas=steep)
        text = text_of(press.printed("proposal", proposal.data(replace(result, ground=ground))))
        assert (said in " ".join(text.split())) == is_told


def many(count: int):
    """A result of ``count`` lots made by hand, with the tables of its price."""
    names = [f"L-{k:04}" for k in range(count)]
    made_ = made(names, products={"turf60": {}, "turf80": {}})
    land, total = made_.ground.areas, Decimal("123456.70")
    sites = made_.price.sites
    schedule = pd.DataFrame({"section": ["32 18 13"], "title": ["Turf"], "price": [total]})
    paid = pd.DataFrame(
        {"scope": ["bid"], "item": ["1"], "description": ["Turf"], "unit": ["ft^2"]}
    )
    paid = paid.assign(quantity=[Decimal(1)], unit_price=[total], extension=[total])
    phases = pd.DataFrame({"phase": land["phase"].unique()})
    phases = phases.assign(sites=count, price=[total] + [Decimal(0)] * (len(phases) - 1))
    alternates = pd.DataFrame(columns=["alternate", "price", "difference"])
    price = replace(
        made_.price,
        schedule=schedule,
        schedule_of_prices=paid,
        phases=phases,
        alternates=alternates,
        sites=sites,
    )
    items = pd.DataFrame({"scope_kind": ["pool"], "net": [1.0], "key": ["turf"]})
    return replace(made_, price=price, takeoff=replace(made_.takeoff, items=items))


@pytest.mark.parametrize(("count", "pages"), [(1, 3), (150, 6), (2000, 4)])
def test_a_proposal_stays_short(count, pages):
    """Of very many lots the table beside it tells the prices."""
    made_ = many(count)
    pdf = press.printed("proposal", proposal.data(made_))
    text = text_of(pdf)
    assert len(pypdf.PdfReader(io.BytesIO(pdf)).pages) <= pages
    assert ("stands in prices.csv" in text) == (count == 2000)
    assert ("L-0149" in text) == (count == 150)
    assert ("Price of each property" in text) == (count > 1)


def test_what_is_left_out_of_the_price_is_told(result):
    source = replace(result.source, left_out=2)
    data = proposal.data(replace(result, source=source))
    assert "2 areas of the drawings that could not be priced." in data["exclusions"]
    assert "Infill." in proposal_of(result, materials={"leave_out": ("infill",)})


@pytest.mark.parametrize(
    "name", ['#import "x"', "$x$ \\ [b] *c* @e <f>", "</script><b>", "x" * 500, "a \u202e b"]
)
def test_names_that_mean_harm_are_text(result, name):
    land = result.ground.areas.assign(site=name, phase=name)
    sites = result.price.sites.assign(site=[name, "B"])
    ground = replace(result.ground, areas=land)
    price = replace(result.price, sites=sites, phases=result.price.phases.assign(phase=name))
    bid = result.bid.model_copy(
        update={
            "name": name,
            "bidder": result.bid.bidder.model_copy(update={"name": name}),
            "terms": result.bid.terms.model_copy(update={"payment": (name,), "phases": {}}),
        }
    )
    changed = replace(result, ground=ground, price=price, bid=bid)
    made = text_of(press.printed("proposal", proposal.data(changed)))
    squeezed = "".join(made.replace("\u200b", "").split())
    assert squeezed.count("".join(name.replace("\u202e", "").split())) >= 4


def test_the_same_bid_gives_the_same_bytes(result, client):
    again = press.printed("proposal", proposal.data(result))
    assert again == (client / "proposal.pdf").read_bytes()


def test_the_page_is_the_bids(result):
    sizes = []
    for page in ("letter", "a4"):
        terms = result.bid.terms.model_copy(update={"page": page})
        bid = result.bid.model_copy(update={"terms": terms})
        pdf = press.printed("proposal", proposal.data(replace(result, bid=bid)))
        box = pypdf.PdfReader(io.BytesIO(pdf)).pages[0].mediabox
        sizes.append((round(float(box.width)), round(float(box.height))))
    assert sizes == [(612, 792), (595, 842)]


def test_a_screen_reader_is_told_the_language_the_order_and_what_pictures_show(client):
    """ISO 32000-1: a catalogue with Lang, marked content with a structure tree, Alt of figures."""
    path = client / "proposal.pdf"
    root = pypdf.PdfReader(io.BytesIO(path.read_bytes())).trailer["/Root"]
    assert root["/Lang"] == "en" and root["/MarkInfo"]["/Marked"] and "/StructTreeRoot" in root
    assert "Where the areas lie" in every_text(path).split("Cautions")[-1]


def test_its_reader_is_the_client():
    assert {paper.reader for paper in PAPERS if paper.template == "proposal"} == {"client"}


def test_days_that_are_not_agreed_are_those_of_the_calendar_and_marked(folder, result):
    """Phase 2 is to start on June 1, as agreed; all else is planned from there."""
    rows = {row[0]: row[1:] for row in proposal.data(result)["phases"]["rows"]}
    heads = proposal.data(result)["phases"]["heads"][1:]
    planned = tables.calendar(result)
    for phase in ("1", "2"):
        mine = planned[planned["phase"] == phase]
        work = mine[mine["crew"] != ""]
        days = {
            "turf delivered": mine["start"][mine["crew"] == ""].iloc[0],
            "start": work["start"].min(),
            "finish": work["finish"].max(),
        }
        for head, day in days.items():
            told = rows[phase][heads.index(head)]
            agreed = (phase, head) == ("2", "start")
            day = datetime.date.fromisoformat(str(day))
            assert told == f"{day:%B} {day.day}, {day.year}" + "*" * (not agreed)
    text = " ".join(
        page.extract_text() for page in pypdf.PdfReader(folder[1] / "client/proposal.pdf").pages
    )
    assert "* planned:" in " ".join(text.split())


def test_without_a_known_start_there_is_no_planned_day(result):
    no_start = replace(result.calendar, first=None)
    bid = result.bid.model_copy(
        update={"terms": result.bid.terms.model_copy(update={"phases": {}})}
    )
    told = proposal.data(replace(result, calendar=no_start, bid=bid))["phases"]
    assert told["heads"] == ["phase", "properties", "ground", "price"] and not told["planned"]
