"""Who bears what: Schedule, Net by site and Sites."""

from __future__ import annotations

from decimal import Decimal
from typing import Any, NamedTuple

import numpy as np
import pandas as pd

from geoturf import units
from geoturf.model import Price, Result
from geoturf.records import records
from geoturf.rules.item import takes_time
from geoturf.rules.items import ITEMS, measured_in, work_of
from geoturf.workbook.book import Book, cell, sum_of
from geoturf.workbook.bought import AMOUNT, HALF_UP, cost_column, steps_of, work
from geoturf.workbook.places import MONEY, NET_BY_SITE, RUNNING, TAKES
from geoturf.workbook.quantities import books_of
from geoturf.workbook.rates import Rates

# ----------------------------------------------------------------------------------------- Schedule


def schedule(book: Book, price: Price) -> None:
    """Phases by section; each cell is summed from its lines."""
    names = ["amount", *steps_of(price), "price"]
    heads = ("phase", "section", "title", "direct cost", *names[1:])
    sheet = book.sheet("Schedule", (14, 10, 40, *[16] * len(names)), heads)
    of = work(price).reset_index(drop=True).groupby(["phase", "section"], sort=False).indices
    columns = [*range(AMOUNT, AMOUNT + len(names) - 1), cost_column(price) + 1]  # of Lines
    for row, value in enumerate(price.schedule.to_dict("records"), start=1):
        book.texts(sheet, row, 0, (value["phase"], value["section"], value["title"]))
        lines = [int(line) + 1 for line in of[value["phase"], value["section"]]]
        for place, (name, column) in enumerate(zip(names, columns, strict=True), start=3):
            sheet.write_formula(
                row, place, f"={sum_of('Lines', column, lines)}", book.money, float(value[name])
            )
    end = len(price.schedule) + 1
    book.text(sheet, end, 2, "Total", book.head)
    for place, name in enumerate(names, start=3):
        formula = "=0"
        if end > 1:
            formula = f"=SUM({cell(1, place)}:{cell(end - 1, place)})"
        sheet.write_formula(end, place, formula, book.total, float(sum(price.schedule[name])))


# -------------------------------------------------------------------------------------------- sites


def sites(book: Book, rates: Rates, result: Result) -> None:
    """Sites, summed over phases from the sheet of what each takes of every line."""
    price = result.price
    sheet = book.sheet("Sites", (30, 16, 16), ("site", "cost", "price"), printed=False)
    at = _net_by_site(book, rates, result)
    for row, site in enumerate(records(price.sites, _Site), start=1):
        book.text(sheet, row, 0, site.site)
        for place, value in enumerate((site.cost, site.price)):
            found = sum_of(f"'{NET_BY_SITE}'", MONEY + place, at[site.site])
            sheet.write_formula(row, 1 + place, f"=ROUND({found},2)", book.money, float(value))
    end = len(price.sites) + 1
    book.text(sheet, end, 0, "Total", book.head)
    for column, word in ((1, "cost"), (2, "price")):
        formula = "=0"
        if end > 1:
            formula = f"=SUM({cell(1, column)}:{cell(end - 1, column)})"
        sheet.write_formula(end, column, formula, book.total, float(price.totals[word]))


class _Site(NamedTuple):
    site: str
    cost: Decimal
    price: Decimal


class _Line(NamedTuple):
    key: str
    description: str
    share: str


def _net_by_site(book: Book, rates: Rates, result: Result) -> dict[str, list[int]]:
    """A block a phase: two rows of what a net unit comes to, then what each of its sites takes.
    Gives the rows of each site."""
    price = result.price
    land = result.ground.areas
    system = result.bid.units
    under = books_of(price)
    named = work(price).drop_duplicates("share")
    shown = [_shown(line, system) for line in records(named, _Line)]
    heads = (
        "phase",
        "site",
        "cost, running",
        "rest, running",
        "cost",
        "price",
        *(head for head, _ in shown),
    )
    sheet = book.sheet(NET_BY_SITE, (14, 30, *[15] * (len(heads) - 2)), heads, printed=False)
    net = price.borne[list(named["share"])] / [size for _, size in shown]
    at: dict[str, list[int]] = {}
    row = 1
    for phase, areas in price.areas.groupby(land["phase"].astype(str), sort=False):
        site = land.loc[areas.index, "site"]
        takes = net.loc[areas.index].groupby(site, sort=False).sum()
        worth = _rates(book, sheet, row, phase, takes, price)
        hours = _hours(rates, result, areas.index, under.get(str(phase), ""), takes)
        paid = areas.groupby(site, sort=False).sum()
        _block(book, sheet, row + 2, phase, takes, paid, worth, hours)
        for nth, name in enumerate(takes.index, start=row + 2):
            at.setdefault(name, []).append(nth)
        row += 2 + len(takes)
    return at


def _hours(
    rates: Rates, result: Result, areas: pd.Index, book: str, takes: pd.DataFrame
) -> dict[tuple[str, str], str]:
    """Formulas of the hours of some ``areas``, by site and column, where they are reckoned by
    several rates; by one rate, sites share them alike whatever it is."""
    q = result.takeoff.areas.loc[areas]
    site = result.ground.areas.loc[areas, "site"]
    formulas: dict[tuple[str, str], str] = {}
    for key in takes:
        work = work_of(key) if key in ITEMS else ()
        if len(work) < 2:
            continue
        figures = [rates.rate(one.rate, book) for one in work]
        sizes = [
            1.0 if takes_time(one.rate) else measured_in(one.rate, rates.bid.units)[1]
            for one in work
        ]
        sums = [
            one.measure(q).groupby(site, sort=False).sum() / size
            for one, size in zip(work, sizes, strict=True)
        ]
        for name in takes.index[takes[key] > 0].tolist():
            terms = [
                f"{float(of[name])!r}{'*' if takes_time(one.rate) else '/'}{figure.name}"
                for one, of, figure in zip(work, sums, figures, strict=True)
                if of[name] > 0
            ]
            formulas[str(name), str(key)] = "=" + "+".join(terms)
    return formulas


def _shown(line: _Line, system: str) -> tuple[str, float]:
    """Head of the column that a line is shared by, and how many SI units its shown unit has."""
    if line.share == "sites":
        return "Sites", 1.0
    surface = line.share == "surface"
    item = ITEMS["turf" if surface else line.key]
    title = "Surface" if surface else line.description
    unit = getattr(item, system)
    return f"{title}, {unit}", 1.0 if unit == "each" else units.unit_factor(unit)[0]


def _rates(
    book: Book, sheet: Any, row: int, phase: str, takes: pd.DataFrame, price: Price
) -> np.ndarray:
    """What the lines of a phase come to, a net unit of the column they are shared by: cost, and the
    rest of the price; (2, n)."""
    of = work(price).reset_index(drop=True).groupby(["phase", "share"]).indices
    loads = price.loads[["cost", "price"]].to_numpy(float)
    worth = np.zeros((2, takes.shape[1]))
    for nth, words in enumerate(("cost a net unit", "the rest of its price")):
        book.texts(sheet, row + nth, 0, (phase, words))
    sheet.write_row(row + 1, RUNNING, (0, 0), book.money)
    for place, share in enumerate(takes):
        lines = of.get((phase, share), ())
        total = takes[share].sum()
        if not len(lines) or not total > 0:
            continue
        cost, whole = (
            sum_of("Lines", cost_column(price) + k, [line + 1 for line in lines]) for k in (0, 1)
        )
        column = TAKES + place
        net = f"SUM({cell(row + 2, column)}:{cell(row + 1 + len(takes), column)})"
        worth[:, place] = np.diff(loads[lines].sum(axis=0), prepend=0) / total
        for nth, formula in enumerate((f"={cost}/{net}", f"=({whole}-{cost})/{net}")):
            sheet.write_formula(row + nth, column, formula, book.number, worth[nth, place])
    return worth


def _block(
    book: Book,
    sheet: Any,
    first: int,
    phase: str,
    takes: pd.DataFrame,
    paid: pd.DataFrame,
    worth: np.ndarray,
    hours: dict[tuple[str, str], str],
) -> None:
    """The sites of a phase, from sheet row ``first``: running sums of what they come to, and each
    one's own to the cent."""
    running = np.cumsum(takes.to_numpy() @ worth.T, axis=0)
    last = TAKES + takes.shape[1] - 1
    rows = takes.to_numpy(float).tolist()
    sums = paid.loc[takes.index].to_numpy(object).tolist()
    for row, site in enumerate(takes.index, start=first):
        book.texts(sheet, row, 0, (phase, site))
        own = f"{cell(row, TAKES)}:{cell(row, last)}"
        steps = []
        for nth in (0, 1):
            rates = f"{cell(first - 2 + nth, TAKES)}:{cell(first - 2 + nth, last)}"
            before, here = (cell(place, RUNNING + nth) for place in (row - 1, row))
            formula = f"={before}+SUMPRODUCT({rates},{own})"
            sheet.write_formula(row, RUNNING + nth, formula, book.money, running[row - first, nth])
            steps.append(f"ROUND({here}+{HALF_UP},2)-ROUND({before}+{HALF_UP},2)")
        cost, full = sums[row - first]
        sheet.write_formula(row, MONEY, f"=ROUND({steps[0]},2)", book.money, float(cost))
        sheet.write_formula(
            row, MONEY + 1, f"=ROUND({cell(row, MONEY)}+{steps[1]},2)", book.money, float(full)
        )
        own_takes = zip(takes.columns, rows[row - first], strict=True)
        for column, (key, value) in enumerate(own_takes, start=TAKES):
            if (site, key) in hours:
                sheet.write_formula(row, column, hours[site, key], book.number, value)
            elif value:
                sheet.write_number(row, column, value, book.number)
