"""The workbook read back with openpyxl, and reckoned again from its own formulas."""

import os
import re
import shutil
import subprocess
import zipfile
from dataclasses import replace
from decimal import ROUND_HALF_UP, ROUND_UP, Decimal
from types import SimpleNamespace
from typing import Any, NamedTuple

import numpy as np
import openpyxl
import pytest
from invented_lots import LOTS, PRODUCTS, edges, ground, plan
from openpyxl.utils import get_column_letter, range_boundaries

from geoturf import materials, units, workbook
from geoturf import price as pricing
from geoturf.bid import assumed, make_bid
from geoturf.calendar import schedule
from geoturf.model import Finding
from geoturf.price import beside, price
from geoturf.price.money import cents_of
from geoturf.rules import CalendarRules, EdgeRules, MaterialRules, PriceRules

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


def takeoff(land, laid, pool="phase", materials_rules=None):
    rules = MaterialRules(pool=pool, **(materials_rules or {}))
    return materials.takeoff(land, edges(land), laid, PRODUCTS, rules, EdgeRules())


def result(
    rows=LOTS,
    name="Invented bid",
    units="us",
    findings=(),
    pool="phase",
    of=None,
    takes=None,
    products=None,
    **rules,
):
    """A finished run as the workbook asks of it. ``of``: rules of the takeoff; ``takes``: what else
    is done to its items."""
    land = ground(rows)
    laid = plan(land)
    taken = takeoff(land, laid, pool, of)
    if takes:
        taken = replace(taken, items=takes(taken.items.copy()))
    money = price(land, laid, taken, products or PRODUCTS, PriceRules(**rules), "USD")
    layer = {"path": "lawns.geojson", "product": "turf60"}
    bid = make_bid(
        {"name": name, "units": units, "layers": [layer], "products": {key: {} for key in PRODUCTS}}
    )
    source = SimpleNamespace(left_out=0)
    return SimpleNamespace(
        bid=bid,
        source=source,
        ground=land,
        takeoff=taken,
        price=money,
        calendar=schedule(land, taken, CalendarRules(), 8.0, {}),
        risk=None,
        water=None,
        findings=findings,
    )


def written(path, done):
    workbook.write(done, path)
    return openpyxl.load_workbook(path), openpyxl.load_workbook(path, data_only=True)


class Reckoner:
    """Works out a workbook's formulas, as far as geoturf writes them, from the cells that hold
    numbers."""

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
        left, top, right, bottom = range_boundaries(ref.replace("$", ""))
        names = [
            f"{get_column_letter(x)}{y}"
            for y in range(top, bottom + 1)
            for x in range(left, right + 1)
        ]
        return np.array([self.cell(sheet, name) for name in names], dtype=object)

    def work_out(self, sheet, formula):
        def read(match):
            name = (match["quoted"] or match["plain"] or sheet).strip("'")
            return f"{'cells' if ':' in match['ref'] else 'cell'}({name!r},{match['ref']!r})"

        one = r"\$?[A-Z]{1,2}\$?\d+"
        reference = (
            rf"(?:(?P<quoted>'[^']+')!|(?P<plain>[A-Za-z]+)!)?(?P<ref>{one}(?::{one})?)(?![\d(])"
        )
        return eval(re.sub(reference, read, formula), {"__builtins__": {}}, self.functions())

    def functions(self):
        def rounded(value, places, mode=ROUND_HALF_UP):
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
            "SUMPRODUCT": lambda these, those: sum(
                a * b for a, b in zip(these, those, strict=True) if a and b
            ),
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


@pytest.mark.parametrize("pool", ["phase", "site"])
def test_every_formula_gives_the_figure_beside_it(tmp_path, pool):
    extras = [{"title": "Permit", "price": "120 USD/site"}]
    book, shown = written(
        tmp_path / "bid.xlsx", result(waste="2 %", minimum="90000 USD", pool=pool, extras=extras)
    )
    reckoner = Reckoner(book)
    places = formulas(book)
    assert len(places) > 150
    for sheet, ref in places:
        assert reckoner.cell(sheet, ref) == pytest.approx(shown[sheet][ref].value, abs=1e-6), (
            sheet,
            ref,
        )


def test_every_formula_with_lump_sums_and_what_is_asked_for(tmp_path):
    extras = [
        {"title": unit, "price": f"{price} USD{per}", "kind": kind}
        for unit, price, per, kind in (
            ("mobilisation", "6500.01", "", "service"),
            ("freight", "412.35", "/truck", "service"),
            ("supervision", "300", "/day", "labour"),
            ("cut fee", "4.15", "/roll", "material"),
            ("testing", "1.07", "/ton", "service"),
        )
    ]
    asked = {"drain_spacing": "10 ft", "loader": True, "sod_kill": True}
    rows = [lot | {"cover": "lawn"} for lot in TRACT]
    scale = [{"up_to": "20000 USD", "rate": "2.5 %"}, {"up_to": "50000 USD", "rate": "1.9 %"}]
    rise = {
        "rate": "4 %",
        "prices_of": "2026-01-01",
        "starts": {"1": "2026-07-02", "3": "2027-01-01"},
    }
    done = result(
        rows,
        of=asked,
        extras=extras,
        escalation=rise,
        tax_on_plant=True,
        bond_scale=scale,
        waste="2 %",
    )
    book, shown = written(tmp_path / "bid.xlsx", done)
    reckoner = Reckoner(book)
    for sheet, ref in formulas(book):
        figure = pytest.approx(shown[sheet][ref].value, abs=1e-6)
        assert reckoner.cell(sheet, ref) == figure, (sheet, ref)
    assert shown["Summary"]["B7"].value == float(done.price.totals["price"])


def test_every_formula_under_two_price_books(tmp_path):
    """Each book's lines follow each other and have a build-up of their own."""
    rows = [lot | {"price_book": "far" if lot["phase"] == "1" else ""} for lot in TRACT]
    done, land = result(rows, **BID_RATES), ground(rows)
    books = {"far": PriceRules(sales_tax="9 %", profit="4 %", minimum="99000 USD")}
    taken, own = takeoff(land, plan(land)), PriceRules(**BID_RATES)
    done.price = price(land, plan(land), taken, PRODUCTS, own, "USD", "us", books)
    far = {"sales_tax": "9 %", "profit": "4 %", "minimum": "99000 USD"}
    done.bid = make_bid(done.bid.given | {"books": {"far": far}})
    book, shown = written(tmp_path / "bid.xlsx", done)
    reckoner = Reckoner(book)
    for sheet, ref in formulas(book):
        figure = pytest.approx(shown[sheet][ref].value, abs=1e-6)
        assert reckoner.cell(sheet, ref) == figure, (sheet, ref)
    assert shown["Summary"]["B7"].value == float(done.price.totals["price"])
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
    {"title": "Permit", "price": "120 USD/site"},
    {"title": "Survey", "price": "0.05 USD/ft^2", "kind": "labour"},
    {"title": "Delivery", "price": "900.35 USD/phase", "section": "32 18 13", "kind": "material"},
]
BID_RATES = {"waste": 0.02, "extras": EXTRAS}
BID = {"rows": TRACT, "extras": EXTRAS, "waste": 0.02}


class Edit(NamedTuple):
    """One change: to the cells of the sheet whose rows say ``row`` by the heads of their columns,
    and to the bid that is run again with ``bid`` as what differs, or ``line`` done to its price
    lines of that ``row``."""

    sheet: str
    column: str
    value: Any  # or how it is made of what stands there
    row: dict
    bid: dict | None = None
    line: dict | None = None


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

    return {"takes": change_of}


HALF_MORE = lambda net: net * 1.5  # noqa: E731
EDITS = {
    "infill of phase 1 alone": Edit("Lines", "unit price", 15.5, {"phase": "1", "description": "Infill"},
                                    line={"unit_price": "15.5"}),
    "stone everywhere": Edit("Lines", "unit price", 41.37, {"description": "Aggregate base, compacted"},
                             {"costs": {"aggregate": "41.37 USD/ton"}}),
    "turf of one product": Edit("Lines", "unit price", 3.335, {"unit price": 2.6},
                                {"products": {"turf80": "3.335 USD/ft^2"}}),
    "labour of one line": Edit("Lines", "unit price", 99.99, {"phase": "2", "description": "Lay, trim and fit turf"},
                               line={"unit_price": "99.99"}),
    "ten-thousandths": Edit("Lines", "unit price", 0.1117, {"description": "Weed fabric on the base"},
                            {"costs": {"fabric": "0.1117 USD/ft^2"}}),
    "nothing": Edit("Lines", "unit price", 0, {"phase": "3", "description": "Haul away"}, line={"unit_price": "0"}),
    "an extra's price": Edit("Lines", "unit price", 333.33, {"phase": "3", "description": "Permit"},
                             line={"unit_price": "333.33"}),
    "an extra's quantity": Edit("Lines", "quantity", 7, {"phase": "2", "description": "Delivery"}, line={"quantity": "7"}),
    "net of one phase": Edit("Materials", "net quantity", HALF_MORE, {"scope": "phase 3", "item": "Infill"},
                             bought("phase 3", "infill", net=HALF_MORE)),
    "net hours of one phase": Edit("Materials", "net quantity", HALF_MORE, {"scope": "phase 1", "item": "Dig and load"},
                                   bought("phase 1", "labour_dig", net=HALF_MORE)),
    "allowance of one phase": Edit("Materials", "allowance", 0.31, {"scope": "phase 1", "item": "Weed fabric on the base"},
                                   bought("phase 1", "fabric", allowance=0.31)),
    "allowance everywhere": Edit("Materials", "allowance", 0.2, {"item": "Infill"}, {"of": {"infill_allowance": 0.2}}),
    "turf bought": Edit("Materials", "order quantity", 77, {"scope": "phase 2", "item": PRODUCTS["turf80"].title},
                        bought("phase 2", "turf", order=77)),
    "waste": Edit("Build-up", "rate", 0.051, {"step": "Waste"}, {"waste": 0.051}),
    "contingency": Edit("Build-up", "rate", 0.0833, {"step": "Contingency"}, {"contingency": 0.0833}),
    "sales tax": Edit("Build-up", "rate", 0.0875, {"step": "Sales tax"}, {"sales_tax": 0.0875}),
    "overhead": Edit("Build-up", "rate", 0.155, {"step": "Overhead"}, {"overhead": 0.155}),
    "profit": Edit("Build-up", "rate", 0.0725, {"step": "Profit"}, {"profit": 0.0725}),
    "bond": Edit("Build-up", "rate", 0, {"step": "Bond"}, {"bond": 0}),
    "minimum charge": Edit("Build-up", "base", 250000.01, {"step": "Minimum charge"}, {"minimum": "250000.01 USD"}),
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
        assert sheet.print_title_rows == (None if sheet.title == "Summary" else "$1:$1")
    assert book["Lines"].auto_filter.ref.startswith("A1:") and book["Materials"].auto_filter.ref


def test_what_is_assumed_is_marked_line_by_line_and_counted(tmp_path):
    done = result(**BID)
    book, _ = written(tmp_path / "bid.xlsx", done)
    head = {c.value: c.column - 1 for c in book["Lines"][1]}
    rows = list(book["Lines"].iter_rows(min_row=2, values_only=True))
    said = {row[head["description"]]: row[head["assumed"]] or "" for row in rows}
    assert said["Permit"] == "" and said["Infill"] == "unit cost"
    assert said["Dig and load"] == "unit cost, production rate"
    counted = assumed.share(done.bid, done.price.lines)
    assert book["Summary"]["A10"].value.startswith(f"{counted} are geoturf's own")


def test_there_are_twenty_edits():
    assert len(EDITS) == 20


def edited(path, edit):
    """The workbook with the change made in every row that fits."""
    book = openpyxl.load_workbook(path)
    sheet = book[edit.sheet]
    head = {c.value: c.column for c in sheet[1]}
    rows = [
        row
        for row in sheet.iter_rows(min_row=2)
        if all(row[head[k] - 1].value == v for k, v in edit.row.items())
    ]
    rows = [row for row in rows if row[0].value != "bid"]
    assert rows, "no such row"
    for row in rows:
        cell = row[head[edit.column] - 1]
        assert cell.fill.fgColor.rgb == "FFFFF6D6", "only shaded cells may be changed"
        cell.value = edit.value(cell.value) if callable(edit.value) else edit.value
    return book


def run_again(edit, monkeypatch):
    """The bid run again with the same change; one of a single line is made where lines are."""
    made = pricing.work_lines, pricing.extra_lines

    def changed(make):
        def lines(*args):
            table = make(*args)
            own = (table["phase"] == edit.row["phase"]) & (
                table["description"] == edit.row["description"]
            )
            for name, value in edit.line.items():
                table.loc[own, name] = Decimal(value)
            table["cents"] = [
                cents_of(q * p) for q, p in zip(table["quantity"], table["unit_price"], strict=True)
            ]
            return table

        return lines

    if edit.line:
        for name, make in zip(("work_lines", "extra_lines"), made, strict=True):
            monkeypatch.setattr(pricing, name, changed(make))
    more = dict(edit.bid or {})
    if "products" in more:
        more["products"] = PRODUCTS | {
            name: PRODUCTS[name].model_copy(update={"price": units.read_money(text)})
            for name, text in more["products"].items()
        }
    return result(**BID | more)


def money(read, done):
    """(place, what the workbook shows, what the run gives) of every amount of the price; ``read``
    (sheet, cell) -> value."""
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
    for row, phase in enumerate(price.phases.itertuples(), start=12):
        yield f"phase {phase.phase}", read("Summary", f"F{row}"), phase.price


def differing(read, done):
    return [
        (place, shown, float(due))
        for place, shown, due in money(read, done)
        if abs(shown - float(due)) > 1e-6
    ]


@pytest.mark.parametrize("change", EDITS)
def test_an_edited_cell_gives_what_a_new_run_gives(tmp_path, monkeypatch, change):
    edit = EDITS[change]
    before = result(**BID)
    workbook.write(before, tmp_path / "bid.xlsx")
    after = run_again(edit, monkeypatch)
    assert after.price.totals["price"] != before.price.totals["price"]
    assert not differing(Reckoner(edited(tmp_path / "bid.xlsx", edit)).cell, after)


@pytest.mark.spreadsheet
@pytest.mark.skipif(
    not OFFICE and not os.environ.get("GEOTURF_NEED_SPREADSHEET"),
    reason="no LibreOffice on this machine",
)
def test_a_spreadsheet_program_reckons_the_same(tmp_path, monkeypatch):
    """LibreOffice Calc opens every edited workbook, which holds no reckoned values, and reckons it:
    all amounts to the cent."""
    workbook.write(result(**BID), tmp_path / "bid.xlsx")
    for name, edit in EDITS.items():
        edited(tmp_path / "bid.xlsx", edit).save(tmp_path / f"{name}.xlsx")
    home, out = (tmp_path / "home").as_uri(), tmp_path / "reckoned"
    options = [
        f"-env:UserInstallation={home}",
        "--headless",
        "--convert-to",
        "xlsx",
        "--outdir",
        str(out),
    ]
    files = [str(tmp_path / f"{name}.xlsx") for name in EDITS]
    subprocess.run(
        [OFFICE or "soffice", *options, *files], check=True, capture_output=True, timeout=300
    )
    for name, edit in EDITS.items():
        with monkeypatch.context() as patch:
            after = run_again(edit, patch)
        book = openpyxl.load_workbook(out / f"{name}.xlsx", data_only=True)
        assert not differing(lambda sheet, ref, book=book: book[sheet][ref].value, after), name


def test_hostile_text_stays_text(tmp_path):
    rows = [LOTS[0] | {"site": text, "phase": text[:200], "area": text} for text in HOSTILE]
    findings = tuple(Finding("note", "odd", text, file=text, site=text) for text in HOSTILE)
    book, _ = written(tmp_path / "bid.xlsx", result(rows, name="=1+1", findings=findings))
    assert [book["Sites"].cell(row, 1).value for row in (2, 3, 4, 5)] == HOSTILE[:4]
    ours = re.compile(
        r"=\(?(ROUNDUP|ROUND|SUM|SUMIF|MAX|IF|'Build-up'!|E\d+$|E\d+\+E\d+$|[CD]\d+\+SUMPRODUCT)"
    )
    for sheet, ref in formulas(book):
        assert ours.match(book[sheet][ref].value), (sheet, ref)
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
    done, dearer = result(), result(profit="20 %")
    done.price = beside(done.price, [("dearer", dearer.price)], dearer.price)
    book, shown = written(tmp_path / "bid.xlsx", done)
    assert book.sheetnames == [
        "Summary",
        "Materials",
        "Lines",
        "Build-up",
        "Schedule",
        "Sites",
        "Net by site",
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
    last = max(cell.value for cell in shown["Calendar"]["E"][1:])
    assert last == done.calendar.days
    assert "Risk" not in shown.sheetnames
    assert shown["Alternates"]["C2"].value == float(done.price.alternates["difference"][0])


def test_metric_sheets(tmp_path):
    _, shown = written(tmp_path / "bid.xlsx", result(units="metric"))
    units = {row[2]: row[4] for row in shown["Materials"].iter_rows(min_row=2, values_only=True)}
    assert (
        units["Aggregate base, compacted"],
        units["Excavation, in place"],
        units["Seam tape"],
    ) == ("t", "m3", "m")
    assert shown["Summary"]["A5"].value == "Surface, m^2"
