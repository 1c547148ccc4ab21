"""The workbook read back with openpyxl, and reckoned again from its own formulas."""

import copy
import functools
import math
import os
import re
import shutil
import subprocess
import zipfile
from contextlib import contextmanager
from dataclasses import replace
from decimal import ROUND_HALF_UP, ROUND_UP, Decimal
from types import SimpleNamespace
from typing import Any, NamedTuple

import numpy as np
import openpyxl
import pandas as pd
import pytest
from invented_lots import LOTS, edges, ground, plan
from openpyxl.utils import get_column_letter, range_boundaries

from geoturf import materials, workbook
from geoturf.bid import assumed, booked, make_bid
from geoturf.by_plan import by_plan
from geoturf.calendar import schedule
from geoturf.materials.counts import counts
from geoturf.model import Finding
from geoturf.price import beside, price
from geoturf.rules import CalendarRules
from geoturf.rules.items import ITEMS

OFFICE = shutil.which("soffice") or shutil.which("libreoffice")
HOSTILE = [
    '=HYPERLINK("http://x")',
    "+1+1",
    "-2",
    "@SUM(A1)",
    "http://example.org",
    "<b>&\x01\uffff\ud800",
    "{=1}",
    "0012",
    "x" * 40_000,
]


def result(rows=LOTS, name="Invented bid", findings=(), takes=None, **tables):
    """A finished run as the workbook asks of it, of a bid with ``tables``. ``takes``: what else is
    done to the items of its takeoff."""
    layer = {"path": "lawns.geojson", "product": "turf60"}
    products = {"turf60": {}, "turf80": {"pile_weight": "80 oz/yd^2", "price": "2.60 USD/ft^2"}}
    given = {"name": name, "layers": [layer], "products": products} | tables
    bid = make_bid(given)
    land = ground(rows)
    laid = with_a_cross_seam(plan(land))
    books = {name: booked(bid, name) for name in bid.books}
    work = {name: one.materials for name, one in books.items()}
    prices = {name: one.price for name, one in books.items()}
    taken = materials.takeoff(land, edges(land), laid, bid.products, bid.materials, bid.edges, work)
    if takes:
        taken = replace(taken, items=takes(taken.items.copy()))
        taken = replace(taken, counts=counted(taken, land, laid, bid))
    paid = (land, laid, taken, bid.products, bid.price, bid.currency, bid.units, prices)
    result = SimpleNamespace(
        bid=bid,
        source=SimpleNamespace(left_out=0),
        ground=land,
        plan=laid,
        takeoff=taken,
        price=price(*paid),
        calendar=schedule(land, taken, CalendarRules(), 8.0, {}),
        risk=None,
        water=None,
        findings=findings,
    )
    result.by_plan = by_plan(result)
    return result


def with_a_cross_seam(laid):
    """The plan with a cross seam in its first area, whose labour is told apart."""
    one = {"area_index": 0, "kind": "cross", "length_m": 4.5}
    return replace(laid, seams=pd.concat([laid.seams, pd.DataFrame([one])], ignore_index=True))


def counted(taken, land, laid, bid):
    """What extras are counted by, of a takeoff whose items were changed: crew-hours are those of
    its items."""
    hours = taken.items[(taken.items["scope_kind"] == "pool") & (taken.items["unit"] == "h")]
    hours = hours[hours["key"].str.startswith("labour")].groupby("phase")["net"].sum()
    phase = land.areas["phase"].astype(str)
    own = counts(phase, taken.areas, taken.items, laid, bid.products, bid.materials)
    days = np.ceil(hours / bid.materials.hours_a_day_h - 1e-6).astype(int)
    return own.assign(crew_h=hours.reindex(own.index), crew_days=days.reindex(own.index))


def written(path, done):
    workbook.write(done, path)
    return openpyxl.load_workbook(path), openpyxl.load_workbook(path, data_only=True)


@functools.cache
def named(names):
    """Finds any of the names in a formula, the longest first."""
    any_of = "|".join(re.escape(name) for name, _ in sorted(names, key=lambda one: -len(one[0])))
    return re.compile(rf"(?<![\w.!'])(?:{any_of})(?![\w(!])")


@functools.cache
def in_python(sheet, formula, names):
    """A formula of a sheet as Python: names as the places they stand for, places read."""

    def read(match):
        name = (match["quoted"] or match["plain"] or sheet).strip("'")
        return f"{'cells' if ':' in match['ref'] else 'cell'}({name!r},{match['ref']!r})"

    one = r"\$?[A-Z]{1,2}\$?\d+"
    reference = (
        rf"(?:(?P<quoted>'[^']+')!|(?P<plain>[A-Za-z]+)!)?(?P<ref>{one}(?::{one})?)(?![\d(])"
    )
    place = dict(names)
    formula = named(names).sub(lambda found: place[found[0]], formula) if names else formula
    return compile(re.sub(reference, read, formula), formula, "eval")


class Reckoner:
    """Works out a workbook's formulas, as far as geoturf writes them, from the cells that hold
    numbers."""

    def __init__(self, book):
        self.book, self.known, self.known_functions = book, {}, self.functions()
        self.names = tuple((name, one.attr_text) for name, one in book.defined_names.items())

    def cell(self, sheet, ref):
        key = (sheet, ref.replace("$", ""))
        if key not in self.known:
            value = self.book[sheet][key[1]].value
            formula = isinstance(value, str) and self.book[sheet][key[1]].data_type == "f"
            self.known[key] = self.work_out(sheet, value[1:]) if formula else value
        return self.known[key]

    def cells(self, sheet, ref):
        left, top, right, bottom = range_boundaries(ref.replace("$", ""))
        names = [
            f"{get_column_letter(x)}{y}"
            for y in range(top, bottom + 1)
            for x in range(left, right + 1)
        ]
        found = [self.cell(sheet, name) for name in names]
        return np.array([0.0 if one is None else one for one in found], dtype=object)

    def work_out(self, sheet, formula):
        code = in_python(sheet, formula, self.names)
        return eval(code, {"__builtins__": {}}, self.known_functions)

    def functions(self):
        def rounded(value, places, mode=ROUND_HALF_UP):
            if isinstance(value, np.ndarray):
                return np.array([rounded(one, places, mode) for one in value], dtype=object)
            return float(
                Decimal(repr(round(value, 9))).quantize(
                    Decimal(1).scaleb(-int(places)), rounding=mode
                )
            )

        return {
            "cell": self.cell,
            "cells": self.cells,
            "ROUND": rounded,
            "ROUNDUP": lambda value, places: rounded(value, places, ROUND_UP),
            "SUM": lambda *values: round(
                float(sum(v for v in np.hstack(values) if v and not isinstance(v, str))), 9
            ),
            "SUMIF": lambda where, what, values: float(
                sum(v for w, v in zip(where, values, strict=True) if w == what)
            ),
            "SUMPRODUCT": lambda these, those=None: sum(
                a * b
                for a, b in zip(these, [1] * len(these) if those is None else those, strict=True)
                if a and b
            ),
            "COUNTIF": lambda where, what: sum(one == what for one in where),
            "INT": math.floor,
            "MAX": max,
            "MIN": min,
            "IF": lambda test, yes, no: yes if test else no,
        }


def formulas(book):
    return [
        (s.title, c.coordinate)
        for s in book
        for row in s.iter_rows()
        for c in row
        if c.data_type == "f"
    ]


def each_formula_gives_its_figure(path, done):
    book, shown = written(path, done)
    reckoner = Reckoner(book)
    places = formulas(book)
    for sheet, ref in places:
        figure = pytest.approx(shown[sheet][ref].value, abs=1e-6)
        assert reckoner.cell(sheet, ref) == figure, (sheet, ref, book[sheet][ref].value)
    assert shown["Summary"]["B7"].value == float(done.price.totals["price"])
    return places


@pytest.mark.parametrize("pool", ["phase", "site"])
def test_every_formula_gives_the_figure_beside_it(tmp_path, pool):
    extras = [{"title": "Permit", "price": "120 USD/site"}]
    prices = {"waste": "2 %", "minimum": "90000 USD", "extras": extras}
    done = result(price=prices, materials={"pool": pool})
    assert len(each_formula_gives_its_figure(tmp_path / "bid.xlsx", done)) > 150


def test_every_formula_in_metric_units(tmp_path):
    done = result(TRACT, units="metric", price=PRICES)
    each_formula_gives_its_figure(tmp_path / "bid.xlsx", done)


def test_every_formula_with_lump_sums_and_what_is_asked_for(tmp_path):
    asked = {"drain_spacing": "10 ft", "loader": True, "sod_kill": True}
    rows = [lot | {"cover": "lawn"} for lot in TRACT]
    each_formula_gives_its_figure(
        tmp_path / "bid.xlsx", result(rows, materials=asked, price=PRICES)
    )


def test_every_formula_under_two_price_books(tmp_path):
    """Each book's lines follow each other and have a build-up of their own."""
    done = result(**BID)
    each_formula_gives_its_figure(tmp_path / "bid.xlsx", done)
    _, shown = written(tmp_path / "bid.xlsx", done)
    assert shown["Build-up"]["A1"].value == "step, price book far"


#: odd lots in three phases, one of them in two; two are the same, so that halves of a cent come up
TRACT = [
    *LOTS,
    {"site": "lot 1", "phase": "3", "area": "side", "width_ft": 12, "length_ft": 31},
    {"site": "lot 4", "phase": "3", "area": "front", "width_ft": 22, "length_ft": 35},
    {"site": "lot 5", "phase": "3", "area": "front", "width_ft": 22, "length_ft": 35},
    {
        "site": "lot 5",
        "phase": "3",
        "area": "back",
        "width_ft": 17,
        "length_ft": 23,
        "product": "turf80",
        "use": "pet",
    },
]
EXTRAS = [
    {"title": "Mobilisation", "price": "6500.01 USD"},
    {"title": "Permit", "price": "120 USD/site"},
    {"title": "Survey", "price": "0.05 USD/ft^2", "kind": "labour"},
    {"title": "Delivery", "price": "900.35 USD/phase", "section": "32 18 13", "kind": "material"},
    {"title": "Freight", "price": "412.35 USD/truck"},
    {"title": "Supervision", "price": "300 USD/day", "kind": "labour"},
    {"title": "Small tools", "price": "1.85 USD/h"},
    {"title": "Cut fee", "price": "4.15 USD/roll", "kind": "material"},
    {"title": "Testing", "price": "1.07 USD/ton"},
]
PRICES = {
    "waste": "2 %",
    "tax_on_plant": True,
    "wage": "38.50 USD/h",
    "bond_scale": [
        {"up_to": "20000 USD", "rate": "2.5 %"},
        {"up_to": "50000 USD", "rate": "1.9 %"},
    ],
    "escalation": {
        "rate": "4 %",
        "prices_of": "2026-01-01",
        "starts": {"1": "2026-07-02", "3": "2027-01-01"},
    },
    "extras": EXTRAS,
    "breaks": {"infill": [{"at_least": 15, "price": "11.30 USD/bag"}]},
    "least": {"disposal": "480 USD"},
    "hire": {"compactor": "140 USD/week"},
}
FAR = {
    "sales_tax": "9 %",
    "profit": "4 %",
    "costs": {"haul": "190 USD/load"},
    "rates": {"dig": "4 yd^3/h"},
    "extras": [{"title": "Permit", "price": "95 USD/site"}, {"title": "Toll", "price": "650 USD"}],
}
#: three phases, one of them under a price book of its own
BID = {
    "rows": [lot | {"price_book": "far" if lot["phase"] == "1" else ""} for lot in TRACT],
    "products": {
        "turf60": {"least_charge": "9000 USD"},
        "turf80": {"pile_weight": "80 oz/yd^2", "price": "2.60 USD/ft^2"},
    },
    "price": PRICES,
    "books": {"far": FAR},
}


class Edit(NamedTuple):
    """One change: to the cell of ``sheet`` whose row says ``row`` by the heads of its columns, and
    to the bid that is run again: the rule at ``path`` is ``text`` there, or else ``takes`` is done
    to its takeoff."""

    sheet: str
    column: str
    value: Any  # or how it is made of what stands there
    row: dict
    path: str = ""
    text: Any = None
    takes: Any = None


def rate(name, value, path, text):
    """A change on the sheet of rates, and of the rule that it shows."""
    return Edit("Rates", "value", value, {"name": name}, path, text)


def bought(scope, key, **change):
    """A pool's row with another net quantity or allowance, its order reckoned again; or with
    another order."""

    def change_of(items):
        own = (items["scope"] == scope) & (items["key"] == key) & (items["scope_kind"] == "pool")
        assert own.sum() == 1
        for name, value in change.items():
            items.loc[own, name] = value(items.loc[own, name]) if callable(value) else value
        if "order" not in change:
            packages = items["net"] * (1 + items["allowance"]) / items["order_size"]
            items.loc[own, "order"] = np.ceil(packages - 1e-6).astype(int)
        return items

    return change_of


HALF_MORE = lambda net: net * 1.5  # noqa: E731


def hours_of(scope, key):
    """A task's hours made half as many again, and those of the plant that runs with it."""
    plant = {"labour_dig": "excavator"}.get(key)
    more = [bought(scope, one, net=HALF_MORE) for one in (key, plant) if one]

    def change_of(items):
        for one in more:
            items = one(items)
        return items

    return change_of


EDITS = {
    "a unit cost": rate("cost_infill", 15.5, "price.costs.infill", "15.5 USD/bag"),
    "ten-thousandths": rate("cost_fabric", 0.1117, "price.costs.fabric", "0.1117 USD/ft^2"),
    "nothing": rate("cost_haul", 0, "price.costs.haul", "0 USD/load"),
    "a unit cost of a book": rate("cost_haul__far", 201.5, "books.far.costs.haul", "201.5 USD/load"),
    "turf of one product": rate("turf_turf80", 3.335, "products.turf80.price", "3.335 USD/ft^2"),
    "a wage": rate("wage", 41.13, "price.wage", "41.13 USD/h"),
    "burden": rate("burden", 0.41, "price.burden", "41 %"),
    "an extra by the site": rate("extra_2", 133.33, "price.extras.1.price", "133.33 USD/site"),
    "a lump sum": rate("extra_1", 7001.03, "price.extras.0.price", "7001.03 USD"),
    "a lump sum of a book": rate("extra_2__far", 711.11, "books.far.extras.1.price", "711.11 USD"),
    "a production rate": rate("rate_turf", 160, "materials.rates.turf", "160 ft^2/h"),
    "seams an hour": rate("rate_seam", 31, "materials.rates.seam", "31 ft/h"),
    "hours a cross seam": rate("rate_cross_seam", 2.4, "materials.rates.cross_seam", "2.4 h"),
    "a rate of a book": rate("rate_dig__far", 3.3, "books.far.rates.dig", "3.3 yd^3/h"),
    "hours a day": rate("hours_a_day", 9.5, "materials.hours_a_day", "9.5 h"),
    "what a truck carries": rate("delivery_truck", 1.4, "materials.delivery_truck", "1.4 ton"),
    "an allowance": rate("infill_allowance", 0.2, "materials.infill_allowance", "20 %"),
    "a price break": rate("cost_infill_from_1", 12, "price.breaks.infill.0.at_least", 12),
    "its price": rate("cost_infill_from_1_price", 9.99, "price.breaks.infill.0.price", "9.99 USD/bag"),
    "a least order": rate("least_disposal", 555.55, "price.least.disposal", "555.55 USD"),
    "a least order of turf": rate("least_turf60", 11111.11, "products.turf60.least_charge", "11111.11 USD"),
    "hire by the week": rate("hire_compactor", 95, "price.hire.compactor", "95 USD/week"),
    "waste": rate("waste", 0.051, "price.waste", "5.1 %"),
    "contingency": rate("contingency", 0.0833, "price.contingency", "8.33 %"),
    "sales tax": rate("sales_tax", 0.0875, "price.sales_tax", "8.75 %"),
    "tax of a book": rate("sales_tax__far", 0.0625, "books.far.sales_tax", "6.25 %"),
    "overhead": rate("overhead", 0.155, "price.overhead", "15.5 %"),
    "profit": rate("profit", 0.0725, "price.profit", "7.25 %"),
    "bond": rate("bond", 0, "price.bond", "0 %"),
    "a bracket": rate("bond_2", 0.017, "price.bond_scale.1.rate", "1.7 %"),
    "escalation": rate("escalation", 0.061, "price.escalation.rate", "6.1 %"),
    "minimum charge": rate("minimum", 250000.01, "price.minimum", "250000.01 USD"),
    "net of one phase": Edit("Materials", "net quantity", HALF_MORE, {"scope": "phase 3", "item": "Infill"},
                             takes=bought("phase 3", "infill", net=HALF_MORE)),
    "work of one phase": Edit("Quantities", "quantity", HALF_MORE, {"phase": "2", "task": "Dig and load"},
                              takes=hours_of("phase 2", "labour_dig")),
    "turf bought": Edit("Materials", "order quantity", 77, {"scope": "phase 2", "item": "Synthetic turf, 60 oz/yd^2"},
                        takes=bought("phase 2", "turf", order=77)),
}  # fmt: skip


def test_every_shaded_cell_and_no_other_is_guarded(tmp_path):
    book, _ = written(tmp_path / "bid.xlsx", result(**BID))
    for sheet in book:
        shaded = {c.coordinate for row in sheet.iter_rows() for c in row if _is_shaded(c)}
        rules = sheet.data_validations.dataValidation
        guarded = [cell for rule in rules for part in rule.sqref for cell in _cells_of(part)]
        assert sorted(guarded) == sorted(shaded), sheet.title
        assert all(rule.operator != "between" or rule.formula1 == "0" for rule in rules)
        assert all(rule.showErrorMessage and rule.error for rule in rules)


def _is_shaded(cell):
    return cell.fill.fgColor.rgb == "FFFFF6D6"


def _cells_of(part):
    return [f"{get_column_letter(x)}{y}" for row in part.rows for y, x in row]


def test_every_sheet_prints_as_wide_as_a_page_with_its_heads_and_a_foot(tmp_path):
    book, _ = written(tmp_path / "bid.xlsx", result(name="Oak & Elm", **BID))
    for sheet in book:
        assert sheet.sheet_properties.pageSetUpPr.fitToPage, sheet.title
        # fit to a page's width, to as many pages as it takes; 1 is letter (ECMA-376, paperSize)
        setup = sheet.page_setup
        assert (setup.fitToWidth or 1, setup.fitToHeight, setup.paperSize) == (1, 0, 1)
        assert sheet.oddFooter.left.text == "Oak && Elm" and sheet.oddFooter.right.text == "&P / &N"
        assert sheet.print_area
        heads = {"Summary": None, "Calendar": "$1:$2", "Order": "$1:$2"}.get(sheet.title, "$1:$1")
        assert sheet.print_title_rows == heads
    assert book["Lines"].auto_filter.ref.startswith("A1:") and book["Materials"].auto_filter.ref


def test_sheets_of_workings_have_an_empty_print_area_and_are_named(tmp_path):
    """What is empty is not printed (LibreOffice leaves empty pages out; other programs from
    memory). The demo's workbook is 11 pages long so, counted in a PDF that LibreOffice made."""
    book, _ = written(tmp_path / "bid.xlsx", result(**BID))
    texts = [row[0].value for row in book["Summary"].iter_rows() if isinstance(row[0].value, str)]
    (said,) = [text for text in texts if text.startswith("For the screen")]
    for sheet in book:
        area = range_boundaries(sheet.print_area.split("!")[1].replace("$", ""))
        columns, rows = range(area[0], area[2] + 1), range(area[1], area[3] + 1)
        empty = all(sheet.cell(row, column).value is None for row in rows for column in columns)
        assert empty == (f" {sheet.title}," in said or f" {sheet.title}." in said), sheet.title


def test_what_is_assumed_is_marked_line_by_line_and_counted(tmp_path):
    done = result(TRACT, price={"extras": EXTRAS})
    book, _ = written(tmp_path / "bid.xlsx", done)
    head = {c.value: c.column - 1 for c in book["Lines"][1]}
    rows = list(book["Lines"].iter_rows(min_row=2, values_only=True))
    said = {row[head["description"]]: row[head["assumed"]] or "" for row in rows}
    assert said["Permit"] == "" and said["Infill"] == "unit cost"
    assert said["Dig and load"] == "unit cost, production rate"
    counted = assumed.share(done.bid, done.price.lines)
    assert book["Summary"]["A10"].value.startswith(f"{counted} are geoturf's own")
    marks = [row[-1] for row in book["Rates"].iter_rows(min_row=2, values_only=True)]
    assert Reckoner(book).cell("Rates", f"C{len(marks) + 1}") == marks.count("assumed") > 20


def test_every_figure_stands_once_by_a_name_of_its_own(tmp_path):
    """What may be changed on the sheet of rates is every name there is, but for what others give;
    and no other sheet has a figure of money or a percentage that may be changed."""
    book, _ = written(tmp_path / "bid.xlsx", result(**BID))
    names = [row[0].value for row in book["Rates"].iter_rows(min_row=2) if row[0].value]
    assert sorted(names) == sorted(book.defined_names) and len(set(names)) == len(names)
    for sheet in book:
        shaded = [c for row in sheet.iter_rows() for c in row if _is_shaded(c)]
        counts = {"Rates", "Quantities", "Materials", "Counts"}
        assert sheet.title in counts or not shaded, sheet.title
        assert sheet.title == "Rates" or not any("%" in c.number_format for c in shaded)


def test_there_are_twenty_edits_and_more():
    assert len(EDITS) >= 20


@contextmanager
def edited(book, edit):
    """The workbook with the change made in the row that fits, while it lasts."""
    sheet = book[edit.sheet]
    head = {c.value: c.column for c in sheet[1]}
    rows = [
        row
        for row in sheet.iter_rows(min_row=2)
        if all(row[head[k] - 1].value == v for k, v in edit.row.items())
    ]
    rows = [row for row in rows if row[0].value != "bid"]
    assert len(rows) == 1, "no such row, or several"
    cell = rows[0][head[edit.column] - 1]
    assert cell.fill.fgColor.rgb == "FFFFF6D6", "only shaded cells may be changed"
    before = cell.value
    cell.value = edit.value(before) if callable(edit.value) else edit.value
    yield book
    cell.value = before


@functools.cache
def run_again(change):
    """The bid run again with the same change."""
    edit, tables = EDITS[change], copy.deepcopy(BID)
    *folders, last = edit.path.split(".") if edit.path else (None,)
    at = tables
    for name in folders:
        at = at[int(name)] if isinstance(at, list) else at.setdefault(name, {})
    if edit.path:
        at[last] = edit.text
    return result(takes=edit.takes, **tables)


def money(read, done):
    """(place, what the workbook shows, what the run gives) of every amount of the price, whole and
    by line, phase, section, site and pay item; ``read`` (sheet, cell) -> value."""
    price = done.price
    yield "the price", read("Summary", "B7"), price.totals["price"]
    tables = (
        ("Lines", "I", price.loads),
        ("Schedule", "D", price.schedule.drop(columns=["phase", "section", "title"])),
        ("Sites", "B", price.sites[["cost", "price"]]),
    )
    for sheet, first, table in tables:
        for row, values in enumerate(table.itertuples(index=False), start=2):
            for column, value in enumerate(values, start=ord(first)):
                yield f"{sheet}, row {row}", read(sheet, f"{chr(column)}{row}"), value
    yield from told_prices(read, price.schedule_of_prices)
    for row, phase in enumerate(price.phases.itertuples(), start=12):
        yield f"phase {phase.phase}", read("Summary", f"F{row}"), phase.price
    bought = price.lines[price.lines["kind"].eq("material") & price.lines["key"].isin(ITEMS)]
    costs = [*bought["amount"], bought["amount"].sum()]
    first = next(row for row in range(3, 99) if read("Order", f"J{row}") is not None)
    for row, cost in enumerate(costs, start=first):  # below the sizes of turf
        yield f"Order, row {row}", read("Order", f"J{row}"), cost
    moved = price.totals["price"] - round(Decimal(read("Alternates", "B2")), 2)
    yield "the price moved by", read("Alternates", "B3"), moved


def told_prices(read, table):
    """Of the schedule of prices: unit price and extension of the bid and of each phase. A row that
    only one of both has is what unit prices cannot carry."""
    row = 2
    for scope in ("bid", *(one for one in dict.fromkeys(table["scope"]) if one[:6] == "phase ")):
        own = table[(table["scope"] == scope) & table["item"].ne("")]
        for one in own.itertuples():
            yield f"{scope}: {one.description}", read("Prices", f"G{row}"), one.unit_price
            yield f"{scope}: {one.description}", read("Prices", f"H{row}"), one.extension
            row += 1
        row += read("Prices", f"B{row}") in ("", None) and read("Prices", f"A{row}") == scope
        whole = table.loc[table["scope"] == scope, "extension"].sum()
        yield f"{scope}: the sum", read("Prices", f"H{row}"), whole
        row += 1


def differing(read, done):
    return [
        (place, shown, float(due))
        for place, shown, due in money(read, done)
        if abs(shown - float(due)) > 1e-6
    ]


@pytest.fixture(scope="module")
def unedited(tmp_path_factory):
    """A workbook, and the price that it tells."""
    done, path = result(**BID), tmp_path_factory.mktemp("unedited") / "bid.xlsx"
    done.price = beside(done.price, [("as it is", done.price)])
    workbook.write(done, path)
    return openpyxl.load_workbook(path), done.price.totals["price"]


@pytest.mark.parametrize("change", EDITS)
def test_an_edited_cell_gives_what_a_new_run_gives(unedited, change):
    book, before = unedited
    after = run_again(change)
    assert after.price.totals["price"] != before
    with edited(book, EDITS[change]):
        assert not differing(Reckoner(book).cell, after)


@pytest.mark.spreadsheet
@pytest.mark.skipif(
    not OFFICE and not os.environ.get("GEOTURF_NEED_SPREADSHEET"),
    reason="no LibreOffice on this machine",
)
def test_a_spreadsheet_program_reckons_the_same(tmp_path, unedited):
    """LibreOffice Calc, started once, opens two of five edited workbooks, which hold no reckoned
    values, and reckons them: all amounts to the cent. (All of them take it a minute more.)"""
    tried = [name for nth, name in enumerate(EDITS) if nth % 5 < 2]
    assert len(tried) >= 14
    for name in tried:
        with edited(unedited[0], EDITS[name]) as book:
            book.save(tmp_path / f"{name}.xlsx")
    out, files = tmp_path / "reckoned", [str(tmp_path / f"{name}.xlsx") for name in tried]
    home = f"-env:UserInstallation={(tmp_path / 'home').as_uri()}"
    options = [home, "--headless", "--convert-to", "xlsx", "--outdir", str(out)]
    command = [OFFICE or "soffice", *options, *files]
    subprocess.run(command, check=True, capture_output=True, timeout=900)
    for name in tried:
        after = run_again(name)
        book = openpyxl.load_workbook(out / f"{name}.xlsx", data_only=True)
        assert not differing(lambda sheet, ref, book=book: book[sheet][ref].value, after), name


def foreign(book, formula):
    """What of a formula is neither a reference, a name, a number nor a function of ours."""
    functions = [
        "ROUNDUP",
        "ROUND",
        "SUMIF",
        "SUMPRODUCT",
        "SUM",
        "COUNTIF",
        "MAX",
        "MIN",
        "INT",
        "IF",
    ]
    known = [rf"(?:{'|'.join(functions)})\(", *map(re.escape, book.defined_names)]
    known += [rf"'?{re.escape(sheet.title)}'?!" for sheet in book]
    known += [r"\$?[A-Z]{1,2}\$?\d+", r"[\d.]+(?:e-?\d+)?", '"[a-z]+"', r"[-+*/(),:=<>$]"]
    return re.sub("|".join(sorted(known, key=len, reverse=True)), "", formula)


def test_hostile_text_stays_text(tmp_path):
    rows = [LOTS[0] | {"site": text, "phase": text[:200], "area": text} for text in HOSTILE]
    findings = tuple(Finding("note", "odd", text, file=text, site=text) for text in HOSTILE)
    book, _ = written(tmp_path / "bid.xlsx", result(rows, name="=1+1", findings=findings))
    assert [book["Sites"].cell(row, 1).value for row in (2, 3, 4, 5)] == HOSTILE[:4]
    for sheet, ref in formulas(book):
        assert not foreign(book, book[sheet][ref].value), (sheet, ref)
    assert book["Summary"]["A1"].value == "=1+1" and book["Summary"]["A1"].data_type == "s"
    assert not any(c.hyperlink for s in book for row in s.iter_rows() for c in row)
    names = zipfile.ZipFile(tmp_path / "bid.xlsx").namelist()
    assert not [
        name for name in names if "externalLink" in name or "vba" in name or "_rels/sheet" in name
    ]


def test_long_text_is_cut_and_says_so(tmp_path):
    """A cell of the Office Open XML format holds 32,767 characters; the writer would drop longer
    text without a word."""
    book, _ = written(tmp_path / "bid.xlsx", result([LOTS[0] | {"site": "x" * 40_000}]))
    text = book["Sites"]["A2"].value
    assert len(text) == 32_767 and text.endswith("… (cut)")
    assert workbook.text_of("\ud800\uffff") == "?\ufffd"
    assert workbook.text_of("y" * 32_767) == "y" * 32_767


def test_the_same_bid_gives_the_same_bytes(tmp_path):
    for name in ("a.xlsx", "b.xlsx"):
        workbook.write(result(), tmp_path / name)
    assert (tmp_path / "a.xlsx").read_bytes() == (tmp_path / "b.xlsx").read_bytes()


def test_sheets_tell_the_bid(tmp_path):
    done, dearer = result(), result(price={"profit": "20 %"})
    done.price = beside(done.price, [("dearer", dearer.price)], dearer.price)
    book, shown = written(tmp_path / "bid.xlsx", done)
    assert book.sheetnames == [
        "Summary",
        "Rates",
        "Quantities",
        "Materials",
        "Counts",
        "Lines",
        "Build-up",
        "Schedule",
        "Sites",
        "Net by site",
        "Prices",
        "Order",
        "Alternates",
        "Calendar",
        "Cautions",
        "Findings",
    ]
    assert [c.value for c in shown["Cautions"]["A"]][1:] == list(done.takeoff.cautions)
    assert shown["Summary"]["B7"].value == float(done.price.totals["price"])
    sites = [row[:3] for row in shown["Sites"].iter_rows(min_row=2, values_only=True)]
    assert sites[:-1] == [
        (s.site, float(s.cost), float(s.price)) for s in done.price.sites.itertuples()
    ]
    last = max(cell.value for cell in shown["Calendar"]["E"][2:])
    assert last == done.calendar.days
    assert "Risk" not in shown.sheetnames
    assert shown["Alternates"]["C5"].value == float(done.price.alternates["difference"][0])


def test_what_no_formula_gives_says_that_it_stays(tmp_path):
    """Money that no formula gives stands on sheets that say so in their first line, and nowhere
    else."""
    done = result(**BID)
    done.price = beside(done.price, [("as it is", done.price)])
    book, _ = written(tmp_path / "bid.xlsx", done)
    told = {
        sheet.title: str(sheet["A1"].value) for sheet in book if "stay" in str(sheet["A1"].value)
    }
    assert list(told) == ["Order", "Alternates", "Calendar"]
    for sheet in book:
        priced = [column for column in sheet.columns if str(column[0].value) in _OF_MONEY]
        bare = [c for column in priced for c in column[1:] if isinstance(c.value, int | float)]
        assert not bare, sheet.title


_OF_MONEY = ("unit price", "amount", "cost", "price", "extension", "price each")


def test_metric_sheets(tmp_path):
    _, shown = written(tmp_path / "bid.xlsx", result(units="metric"))
    units = {row[2]: row[4] for row in shown["Materials"].iter_rows(min_row=2, values_only=True)}
    assert (
        units["Aggregate base, compacted"],
        units["Excavation, in place"],
        units["Seam tape"],
    ) == ("t", "m3", "m")
    assert shown["Summary"]["A5"].value == "Surface, m^2"
