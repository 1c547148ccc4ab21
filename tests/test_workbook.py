"""The workbook read back with openpyxl, and reckoned again from its own formulas."""

import re
import zipfile
from decimal import ROUND_HALF_UP, ROUND_UP, Decimal
from types import SimpleNamespace

import numpy as np
import openpyxl
import pytest
from invented_lots import LOTS, PRODUCTS, edges, ground, plan

from geoturf import materials, workbook
from geoturf.model import Finding
from geoturf.price import price
from geoturf.rules import EdgeRules, MaterialRules, PriceRules

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


def result(rows=LOTS, name="Invented bid", units="us", findings=(), pool="phase", **rules):
    land = ground(rows)
    laid = plan(land)
    taken = materials.takeoff(land, edges(land), laid, PRODUCTS, MaterialRules(pool=pool), EdgeRules())
    money = price(land, laid, taken, PRODUCTS, PriceRules(**rules), "USD")
    bid = SimpleNamespace(name=name, currency="USD", units=units)
    source = SimpleNamespace(left_out=0)
    return SimpleNamespace(
        bid=bid, source=source, ground=land, takeoff=taken, price=money, water=None, findings=findings
    )


def written(path, done):
    workbook.write(done, path)
    return openpyxl.load_workbook(path), openpyxl.load_workbook(path, data_only=True)


class Reckoner:
    """Works out a workbook's formulas, as far as geoturf writes them, from the cells that hold numbers."""

    def __init__(self, book):
        self.book, self.known = book, {}

    def cell(self, sheet, ref):
        key = (sheet, ref.replace("$", ""))
        if key not in self.known:
            value = self.book[sheet][key[1]].value
            formula = isinstance(value, str) and self.book[sheet][key[1]].data_type == "f"
            self.known[key] = self.work_out(sheet, value[1:]) if formula else value
        return self.known[key]

    def cells(self, sheet, ref):
        rows = self.book[sheet][ref.replace("$", "")]
        return np.array([self.cell(sheet, c.coordinate) for row in rows for c in row], dtype=object)

    def work_out(self, sheet, formula):
        def read(match):
            name = (match["quoted"] or match["plain"] or sheet).strip("'")
            return f"{'cells' if ':' in match['ref'] else 'cell'}({name!r},{match['ref']!r})"

        reference = (
            r"(?:(?P<quoted>'[^']+')!|(?P<plain>[A-Za-z]+)!)?(?P<ref>\$?[A-Z]\$?\d+(?::\$?[A-Z]\$?\d+)?)(?![\d(])"
        )
        return eval(re.sub(reference, read, formula), {"__builtins__": {}}, self.functions())

    def functions(self):
        def rounded(value, places, mode=ROUND_HALF_UP):
            return float(Decimal(repr(round(value, 9))).quantize(Decimal(1).scaleb(-int(places)), rounding=mode))

        return {
            "cell": self.cell,
            "cells": self.cells,
            "ROUND": rounded,
            "ROUNDUP": lambda value, places: rounded(value, places, ROUND_UP),
            "SUM": lambda *values: round(float(np.sum(np.hstack(values))), 9),
            "SUMIF": lambda where, what, values: float(sum(v for w, v in zip(where, values, strict=True) if w == what)),
            "EXACT": lambda values, one: np.array([value == one for value in values]),
            "SUMPRODUCT": lambda values: float(sum(values)),
            "MAX": max,
            "IF": lambda test, yes, no: yes if test else no,
        }


def formulas(book):
    return [(s.title, c.coordinate) for s in book for row in s.iter_rows() for c in row if c.data_type == "f"]


@pytest.mark.parametrize("pool", ["phase", "site"])
def test_every_formula_gives_the_figure_beside_it(tmp_path, pool):
    extras = [{"title": "Permit", "price": "120 USD/site"}]
    book, shown = written(tmp_path / "bid.xlsx", result(waste="2 %", minimum="90000 USD", pool=pool, extras=extras))
    reckoner = Reckoner(book)
    places = formulas(book)
    assert len(places) > 150
    for sheet, ref in places:
        assert reckoner.cell(sheet, ref) == pytest.approx(shown[sheet][ref].value, abs=1e-6), (sheet, ref)


def row_of(sheet, column, text):
    return next(c.row for c in sheet[column] if c.value == text)


def total(book, sheet, column):
    """The last filled cell of a column."""
    return max((c for c in book[sheet][column] if c.value is not None), key=lambda c: c.row).coordinate


@pytest.mark.parametrize("change", ["unit price", "allowance", "rate"])
def test_what_is_changed_in_the_sheet_is_what_a_new_bid_gives(tmp_path, change):
    book, _ = written(tmp_path / "bid.xlsx", result())
    if change == "unit price":
        lines = book["Lines"]
        for row in range(2, lines.max_row + 1):
            if lines.cell(row, 5).value == "Aggregate base, compacted":
                lines.cell(row, 8).value = 41.37
        new = result(costs={"aggregate": "41.37 USD/ton"})
    elif change == "allowance":
        rows = [
            row for row in book["Materials"].iter_rows(min_row=2) if row[2].value == "Infill" and row[0].value != "bid"
        ]
        for row in rows:
            row[5].value = 0.2
        land = ground(LOTS)
        laid = plan(land)
        taken = materials.takeoff(land, edges(land), laid, PRODUCTS, MaterialRules(infill_allowance=0.2), EdgeRules())
        new = SimpleNamespace(price=price(land, laid, taken, PRODUCTS, PriceRules(), "USD"))
    else:
        sheet = book["Build-up"]
        sheet.cell(row_of(sheet, "A", "Profit"), 4).value = 0.17
        new = result(profit=0.17)
    reckoner = Reckoner(book)
    wanted = float(new.price.totals["price"])
    assert reckoner.cell("Summary", "B7") == pytest.approx(wanted, abs=1e-6)
    for sheet, column in (("Sites", "C"), ("Schedule", "E")):
        assert reckoner.cell(sheet, total(book, sheet, column)) == pytest.approx(wanted, abs=1e-6)
    assert reckoner.cell("Sites", total(book, "Sites", "B")) == pytest.approx(float(new.price.totals["cost"]), abs=1e-6)


def test_hostile_text_stays_text(tmp_path):
    rows = [LOTS[0] | {"site": text, "phase": text[:200], "area": text} for text in HOSTILE]
    findings = tuple(Finding("note", "odd", text, file=text, site=text) for text in HOSTILE)
    book, _ = written(tmp_path / "bid.xlsx", result(rows, name="=1+1", findings=findings))
    assert [book["Sites"].cell(row, 1).value for row in (2, 3, 4, 5)] == HOSTILE[:4]
    ours = re.compile(r"=(ROUNDUP|ROUND|SUM|SUMIF|SUMPRODUCT|MAX|IF|'Build-up'!|E\d)")
    for sheet, ref in formulas(book):
        assert ours.match(book[sheet][ref].value), (sheet, ref)
    assert book["Summary"]["A1"].value == "=1+1" and book["Summary"]["A1"].data_type == "s"
    assert not any(c.hyperlink for s in book for row in s.iter_rows() for c in row)
    names = zipfile.ZipFile(tmp_path / "bid.xlsx").namelist()
    assert not [name for name in names if "externalLink" in name or "vba" in name or "_rels/sheet" in name]


def test_long_text_is_cut_and_says_so(tmp_path):
    """A cell of the Office Open XML format holds 32,767 characters; the writer would drop longer text without a word."""
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
    done = result(alternates=[{"title": "edged", "add": ["edging"]}])
    book, shown = written(tmp_path / "bid.xlsx", done)
    assert book.sheetnames == [
        "Summary",
        "Materials",
        "Lines",
        "Build-up",
        "Schedule",
        "Sites",
        "Alternates",
        "Cautions",
        "Findings",
    ]
    assert [c.value for c in shown["Cautions"]["A"]][1:] == list(done.takeoff.cautions)
    assert shown["Summary"]["B7"].value == float(done.price.totals["price"])
    sites = [row[:3] for row in shown["Sites"].iter_rows(min_row=2, values_only=True)]
    assert sites[:-1] == [(s.site, float(s.cost), float(s.price)) for s in done.price.sites.itertuples()]
    assert shown["Alternates"]["C2"].value == float(done.price.alternates["difference"][0])


def test_metric_sheets(tmp_path):
    _, shown = written(tmp_path / "bid.xlsx", result(units="metric"))
    units = {row[2]: row[4] for row in shown["Materials"].iter_rows(min_row=2, values_only=True)}
    assert (units["Aggregate base, compacted"], units["Excavation, in place"], units["Seam tape"]) == ("t", "m3", "m")
    assert shown["Summary"]["A5"].value == "Surface, m^2"
