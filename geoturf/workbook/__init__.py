"""The bid as a workbook in which a unit price, a quantity, a rate or an allowance can be changed
and all else follows: every phase, section, site and total is what the takeoff priced again with the
same change gives, to the cent. Layout and cut plan stay as they are; so do the alternates and the
price lot by lot, which say so.

book      sheets and cells: text kept text, money as money, cells to change marked
bought    Materials: order = net x (1 + allowance) / package, rounded up
          Lines: quantity from Materials, amount = quantity x unit price, and its part of each step
          of the build-up Build-up: the steps in their order, down to the price
borne     Schedule: lines by phase and section; Net by site: who takes how much of each line; Sites: what that comes to
told      Water, Summary, Alternates, Risk, Calendar, Cautions, Findings

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
from geoturf.workbook import borne, bought, told
from geoturf.workbook.book import Book, text_of

__all__ = ["text_of", "write"]


def write(result: Result, path: str | Path) -> None:
    """Writes the workbook of ``result`` to ``path``."""
    book = Book(path, result.bid.currency, result.bid.name, result.bid.page)
    price, items = result.price, shown(result.takeoff.items, result.bid.units)
    told.water(book, result)
    summary = book.sheet("Summary", (34, 16, 16, 18, 18, 18, 16))
    rows = bought.materials(book, items)
    bought.lines(book, price, items, rows, told.assumptions(result))
    bought.build_up(book, price)
    borne.schedule(book, price)
    borne.sites(book, price, result.ground.areas, result.bid.units)
    told.alternates(book, price)
    told.risk(book, result.risk)
    told.calendar(book, result.calendar)
    told.cautions(book, result)
    told.findings(book, result)
    told.summary(book, summary, result)
    book.close()
