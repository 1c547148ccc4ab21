"""bid.xlsx against the tables: the values stored beside its formulas, as a reader that does not
reckon shows them. By `zipfile` and `xml`, without a library of workbooks."""

from __future__ import annotations

import re
import zipfile
from collections.abc import Iterator
from decimal import Decimal
from pathlib import Path
from xml.etree import ElementTree

from geoturf.audit.folder import Folder, Unreadable, plain
from geoturf.audit.told import Told, first_wrong, unseen

_MAIN = "{http://schemas.openxmlformats.org/spreadsheetml/2006/main}"
_LINK = "{http://schemas.openxmlformats.org/officeDocument/2006/relationships}id"
_CENT = Decimal("0.01")
_LARGE_BYTES = 1 << 27  # of a sheet: read in some seconds
_LONG = 32_000  # letters; a cell holds 32,767, and longer text is cut
_ESCAPED = re.compile("_x([0-9A-F]{4})_")  # a character that XML has not: ECMA-376, ST_Xstring
_NO_XML = {0xFFFE: "\ufffd", 0xFFFF: "\ufffd"}

Row = dict[str, str]  # by column: A, B …


def promises(folder: Folder) -> Iterator[Told]:
    path = folder.path / "bid.xlsx"
    if not path.is_file():
        return
    with zipfile.ZipFile(path) as archive:
        if max(one.file_size for one in archive.infolist()) > _LARGE_BYTES:
            yield unseen("workbook", "its sheets are larger than the audit reads")
            return
        book = _Book(archive)
        yield _lines(folder, book)
        yield _schedule(folder, book)
        yield _sites(folder, book)


class _Book:
    """Sheets as rows of stored values, by their names."""

    def __init__(self, archive: zipfile.ZipFile):
        self.archive = archive
        links = self._tree("xl/_rels/workbook.xml.rels")
        targets = {one.get("Id"): one.get("Target", "") for one in links}
        sheets = self._tree("xl/workbook.xml").iter(f"{_MAIN}sheet")
        self.sheets = {one.get("name"): targets[one.get(_LINK)] for one in sheets}
        texts = self._tree("xl/sharedStrings.xml").iter(f"{_MAIN}si")
        self.texts = ["".join(part.text or "" for part in one.iter(f"{_MAIN}t")) for one in texts]

    def _tree(self, name: str) -> ElementTree.Element:
        try:
            return ElementTree.fromstring(self.archive.read(name))
        except (KeyError, ElementTree.ParseError) as fault:
            raise Unreadable(f"bid.xlsx cannot be read: {fault}") from None

    def rows(self, sheet: str) -> list[Row]:
        """The rows of a sheet, the first of them its headings."""
        if sheet not in self.sheets:
            raise Unreadable(f"bid.xlsx has no sheet {sheet}")
        tree = self._tree(str(Path("xl") / self.sheets[sheet].removeprefix("/xl/")))
        return [dict(map(self._cell, row)) for row in tree.iter(f"{_MAIN}row")]

    def _cell(self, cell: ElementTree.Element) -> tuple[str, str]:
        value = cell.find(f"{_MAIN}v")
        text = "" if value is None or value.text is None else value.text
        if cell.get("t") == "s":
            text = _ESCAPED.sub(lambda one: chr(int(one[1], 16)), self.texts[int(text)])
        return re.sub(r"\d", "", cell.get("r", "")), text


def _column(head: Row, title: str) -> str:
    """The column that is headed so."""
    found = [at for at, own in head.items() if own == title]
    if not found:
        raise Unreadable(f"bid.xlsx has no column {title}")
    return found[0]


def _kept(text: str) -> str:
    """Text of a table as far as a cell can hold it."""
    return plain(text).translate(_NO_XML)[:_LONG]


def _cents(text: str) -> Decimal:
    """Workbooks store floats."""
    return Decimal(text or "0").quantize(_CENT)


def _lines(folder: Folder, book: _Book) -> Told:
    """Every line that is not of the build-up has its amount, in the order of bid.csv."""
    head, *rows = book.rows("Lines")
    phase, title, amount = (_column(head, name) for name in ("phase", "description", "amount"))
    bid = folder.table("bid")
    columns = (bid.text("phase"), bid.text("description"), bid.money("amount"))
    due = [(_kept(one[0]), _kept(one[1]), one[2]) for one in zip(*columns, strict=True) if one[0]]
    stored = [
        (_kept(row[phase]), _kept(row[title]), _cents(row[amount])) for row in rows if phase in row
    ]
    wrong = [
        f"line {k + 1}, {one[1]}: {one[2]} in bid.csv, {other[1]}, {other[2]} in bid.xlsx"
        for k, (one, other) in enumerate(zip(due, stored, strict=False))
        if one != other
    ]
    if len(due) != len(stored):
        wrong.append(f"{len(due)} lines in bid.csv, {len(stored)} in bid.xlsx")
    return first_wrong("workbook's lines", "stored amounts of lines", wrong, len(due))


def _schedule(folder: Folder, book: _Book) -> Told:
    """The schedule of values ends in the price, phase by phase and section by section."""
    head, *rows, last = book.rows("Schedule")
    price = _column(head, "price")
    phase = _column(head, "phase")
    table = folder.table("schedule")
    due = _summed(list(map(_kept, table.text("phase"))), table.money("price"))
    stored = _summed(
        [_kept(row.get(phase, "")) for row in rows], [_cents(row[price]) for row in rows]
    )
    wrong = [
        f"phase {name}: {due.get(name)} in schedule.csv, {stored.get(name)} in bid.xlsx"
        for name in dict.fromkeys((*due, *stored))
        if due.get(name, 0) != stored.get(name, 0)
    ]
    total = sum(folder.table("bid").money("amount"), Decimal(0))
    if _cents(last[price]) != total:
        wrong.append(f"its total is {last[price]}, the lines of bid.csv come to {total}")
    return first_wrong("workbook's schedule", "stored prices of phases", wrong, len(due) + 1)


def _sites(folder: Folder, book: _Book) -> Told:
    """Every site has its price, and they come to the whole."""
    head, *rows, last = book.rows("Sites")
    site = _column(head, "site")
    price = _column(head, "price")
    table = folder.table("sites")
    due = dict(zip(map(_kept, table.text("site")), table.money("price"), strict=True))
    stored = {_kept(row[site]): _cents(row[price]) for row in rows}
    wrong = [
        f"site {name}: {due.get(name)} in sites.csv, {stored.get(name)} in bid.xlsx"
        for name in dict.fromkeys((*due, *stored))
        if due.get(name, 0) != stored.get(name, 0)  # turf on none of a site's areas: no row
    ]
    if _cents(last[price]) != sum(due.values(), Decimal(0)):
        wrong.append(f"its total is {last[price]}")
    return first_wrong("workbook's sites", "stored prices of sites", wrong, len(due) + 1)


def _summed(names: list[str], amounts: list[Decimal]) -> dict[str, Decimal]:
    sums: dict[str, Decimal] = {}
    for name, amount in zip(names, amounts, strict=True):
        sums[name] = sums.get(name, Decimal(0)) + amount
    return sums
