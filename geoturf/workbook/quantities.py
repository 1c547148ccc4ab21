"""Quantities and Counts: what crews' hours are reckoned by, and what extras are counted by."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, NamedTuple

import pandas as pd

from geoturf import units
from geoturf.materials.counts import FREIGHT
from geoturf.model import Price, Result
from geoturf.records import records
from geoturf.rules.item import Work, takes_time
from geoturf.rules.items import ITEMS, measured_in, work_of
from geoturf.units import SHOWN, Money
from geoturf.workbook.book import NET, ORDER, SIZE, UP, Book, cell, sum_of
from geoturf.workbook.rates import Figure, Rates


def books_of(price: Price) -> dict[str, str]:
    """The price book of each phase."""
    return dict(zip(price.lines["phase"], price.lines["book"], strict=True))


class _Pool(NamedTuple):
    """What of a takeoff row its hours are told by."""

    phase: str
    key: str
    item: str


_HEADS = ("phase", "task", "quantity", "unit", "rate", "unit of rate", "crew-hours")
_HOURS = 6  # column


def quantities(book: Book, rates: Rates, result: Result) -> dict[int, str]:
    """What each task is measured by in each phase, and its hours. Gives the formula of the net
    quantity of each takeoff row of a task."""
    sheet = book.sheet("Quantities", (18, 34, 15, 8, 12, 10, 14), _HEADS, printed=False)
    items = result.takeoff.items
    under = books_of(result.price)
    pools = items[(items["scope_kind"] == "pool") & items["key"].isin(_tasks())]
    sums = result.takeoff.areas.groupby(result.ground.areas["phase"].astype(str), sort=False)
    of_phase = dict(iter(sums))
    row = 1
    nets = {}
    for index, pool in zip(pools.index.tolist(), records(pools, _Pool), strict=True):
        first = row
        for work in work_of(pool.key):
            measured = float(work.measure(of_phase[pool.phase]).sum())
            if measured > 0:
                figure = rates.rate(work.rate, under[pool.phase])
                _work(book, sheet, row, pool, work, measured, figure, rates.bid.units)
                row += 1
        nets[index] = f"={sum_of('Quantities', _HOURS, range(first, row))}"
    book.filters(sheet, row - 1, len(_HEADS))
    return nets


def _tasks() -> list[str]:
    return [key for key, item in ITEMS.items() if item.kind == "labour"]


def _work(
    book: Book,
    sheet: Any,
    row: int,
    pool: _Pool,
    work: Work,
    measured: float,
    rate: Figure,
    system: str,
) -> None:
    """A row: quantity over what is done in an hour, or times the hours that one takes."""
    timed = takes_time(work.rate)
    unit, size = ("each", 1.0) if timed else measured_in(work.rate, system)
    quantity = measured / size
    book.texts(sheet, row, 0, (pool.phase, pool.item))
    book.to_change(sheet, row, 2, quantity, book.change)
    book.text(sheet, row, 3, unit.removesuffix("/h"))
    sheet.write_formula(row, 4, f"={rate.name}", book.number, rate.value)
    book.text(sheet, row, 5, rate.unit)
    formula = f"={cell(row, 2)}{'*' if timed else '/'}{cell(row, 4)}"
    spent = quantity * rate.value if timed else quantity / rate.value
    sheet.write_formula(row, _HOURS, formula, book.number, spent)


# ------------------------------------------------------------------------------------------ Counts

_COUNTS = ("sites", "surface", "loads", "rolls", "crew_h", "crew_days", "turf", "freight", "trucks")
_AT = {name: place for place, name in enumerate(_COUNTS, start=1)}


class Counts:
    """What extras are counted by, a row a phase, those of a price book together."""

    def __init__(self, book: Book, rates: Rates, result: Result, at: Mapping[int, int]):
        self.rates = rates
        self.system = result.bid.units
        self.mass, self.area = SHOWN["mass"][self.system], SHOWN["area"][self.system]
        under = books_of(result.price)
        counted = result.takeoff.counts
        known = list(counted.index) if counted is not None else []
        books = list(dict.fromkeys(under[phase] for phase in known if phase in under))
        self.rows = {
            phase: row
            for row, phase in enumerate(
                (one for name in books for one in known if under.get(one) == name), start=1
            )
        }
        self.books = {
            name: [row for phase, row in self.rows.items() if under[phase] == name]
            for name in books
        }
        self._write(book, result, at)

    def _write(self, book: Book, result: Result, at: Mapping[int, int]) -> None:
        mass = self.mass.unit
        heads = ("phase", "sites", f"surface, {self.area.unit}", "loads", "rolls", "crew-hours",
                 "crew days", f"turf, {mass}", f"trucked, {mass}", "trucks")  # fmt: skip
        sheet = book.sheet("Counts", (18, *[13] * len(_COUNTS)), heads, printed=False)
        items = result.takeoff.items
        pools = items[items["scope_kind"] == "pool"]
        day = self.rates.size("hours_a_day_h", "h").name
        truck = self.rates.size("delivery_truck_kg", "ton" if self.system == "us" else "t")
        tons = units.unit_factor(truck.unit)[0] * self.mass.factor
        for phase, row in self.rows.items():
            of = pools[pools["phase"] == phase]
            counted = result.takeoff.counts.loc[phase]  # type: ignore[union-attr]  # has rows
            book.text(sheet, row, 0, phase)
            bagged = of[of["key"].isin(FREIGHT)]
            bags_kg = float((bagged["order"] * bagged["order_size"]).sum())
            turf = (float(counted["freight_kg"]) - bags_kg) * self.mass.factor
            for name, value, style in (
                ("sites", int(counted["sites"]), book.change_count),
                ("surface", float(counted["surface_m2"]) * self.area.factor, book.change),
                ("rolls", int(counted["rolls"]), book.change_count),
                ("turf", turf, book.change),
            ):
                book.to_change(sheet, row, _AT[name], value, style)
            haul = _cells(of[of["key"] == "haul"].index, at, ORDER)
            work = _cells(of[of["key"].isin(_tasks())].index, at, NET)
            bags = [
                f"Materials!{cell(at[index], ORDER)}*Materials!{cell(at[index], SIZE)}"
                for index in bagged.index
            ]
            weight = "+".join([cell(row, _AT["turf"]), *bags])
            hours = cell(row, _AT["crew_h"])
            heavy = cell(row, _AT["freight"])
            for name, formula, value, style in (
                ("loads", haul, int(counted["loads"]), book.count),
                ("crew_h", work, float(counted["crew_h"]), book.number),
                ("crew_days", UP.format(f"{hours}/{day}"), int(counted["crew_days"]), book.count),
                ("freight", weight, float(counted["freight_kg"]) * self.mass.factor, book.number),
                (
                    "trucks",
                    UP.format(f"{heavy}/({truck.name}*{tons!r})"),
                    int(counted["trucks"]),
                    book.count,
                ),
            ):
                sheet.write_formula(row, _AT[name], f"={formula}", style, value)

    def quantity(self, phase: str, money: Money) -> str:
        """The formula of how many of the units that an extra is priced by a phase has."""
        names = {"site": "sites", "load": "loads", "truck": "trucks", "roll": "rolls",
                 "day": "crew_days"}  # fmt: skip
        if money.unit in ("lump", "each", "phase"):
            return "=1"
        if money.unit in names:
            return f"={self._cell(phase, names[money.unit])}"
        name, factor = {
            (0, 0, 1): ("crew_h", 1.0),
            (0, 1, 0): ("freight", self.mass.factor),
            (2, 0, 0): ("surface", self.area.factor),
        }[money.dimension or (2, 0, 0)]
        return f"=ROUND({self._cell(phase, name)}/{factor * money.si!r},2)"

    def part(self, phase: str, book: str, amount: str) -> str:
        """An ``amount`` of all phases of a book down to this one, by surface, rounded."""
        rows = self.books[book]
        column = _AT["surface"]
        here = [row for row in rows if row <= self.rows[phase]]
        share = f"{sum_of('Counts', column, here)}/{sum_of('Counts', column, rows)}"
        return f"ROUND({amount}*{share}+0.000001,2)"

    def _cell(self, phase: str, name: str) -> str:
        return f"Counts!{cell(self.rows[phase], _AT[name])}"


def _cells(indices: pd.Index, at: Mapping[int, int], column: int) -> str:
    """The sum of a column of Materials over some takeoff rows."""
    return sum_of("Materials", column, [at[index] for index in indices])
