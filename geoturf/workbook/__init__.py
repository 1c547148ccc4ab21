"""The bid as a workbook in which a unit cost, a quantity, a rate or an allowance can be changed and
all else follows: every phase, section, site, plan and total is what the takeoff priced again with
the same change gives, to the cent. Layout and cut plan stay as they are, and what follows from them
alone (turf by size, order of work, calendar); so do the alternates, the risk, the water and the
price lot by lot. Each says so above its heads, and alternates and risk what the price has moved by
since.

book        sheets and cells: text kept text, money as money, cells to change marked
rates       Rates: every unit cost, production rate, allowance and percentage once, by name
quantities  Quantities: what a task's hours are reckoned by; Counts: what extras are counted by
bought      Materials: order = net x (1 + allowance) / package, rounded up
            Lines: quantity from Materials, amount = quantity x unit price, and its part of each
            step of the build-up; Build-up: the steps in their order, down to the price
borne       Schedule: lines by phase and section; Net by site: who takes how much of each line
            (where: places); Sites: what that comes to
paid        Prices: the schedule of unit prices; Plans: what the lots of a house plan come to
laid        Order, Order of work
told        Water, Summary, Alternates, Risk, Calendar, Cautions, Findings

A step is shared out as `geoturf.price.money.shared` does it: a row gets the exact share of all rows
down to it, rounded to the cent, less what the rows above it have. So every column adds up to the
cent, and every row is its own to a cent.

Formulas are only ever our own; text from the data is written as text. What formulas give is written
beside them, so that a reader that does not reckon sees the same figures. Bytes depend on the result
alone.
"""

from __future__ import annotations

from pathlib import Path

from geoturf.model import Result
from geoturf.rules.items import shown
from geoturf.workbook import borne, bought, laid, paid, told
from geoturf.workbook.book import Book, text_of
from geoturf.workbook.places import Sites
from geoturf.workbook.quantities import Counts, quantities
from geoturf.workbook.rates import Rates

__all__ = ["text_of", "write"]


def write(result: Result, path: str | Path) -> None:
    """Writes the workbook of ``result`` to ``path``."""
    book = Book(path, result.bid.currency, result.bid.name, result.bid.page)
    price = result.price
    items = shown(result.takeoff.items, result.bid.units)
    told.water(book, result)
    summary = book.sheet("Summary", (34, 16, 16, 18, 18, 18, 16))
    rates = Rates(book, result.bid)
    hours = quantities(book, rates, result)
    places = Sites(price, result.ground.areas, result.bid.materials.pool)
    rows = bought.materials(book, rates, items, hours, places)
    counts = Counts(book, rates, result, rows)
    bought.lines(book, rates, result, rows, counts, told.assumptions(result))
    bought.build_up(book, rates, price)
    borne.schedule(book, price)
    borne.sites(book, rates, result)
    paid.prices(book, rates, result)
    paid.plans(book, result)
    laid.order(book, result, rows)
    laid.work_order(book, result)
    told.alternates(book, price)
    told.risk(book, result.risk, price)
    told.calendar(book, result.calendar)
    told.cautions(book, result)
    told.findings(book, result)
    told.summary(book, summary, result)
    rates.write()
    book.close()
