"""Metered use from the planner's bills, by site and month or year: what the areas take now, in
place of what the formula says.

Between areas and months that the bills do not tell apart the metered use is divided as the
formula's.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from geoturf import units
from geoturf.errors import InputError
from geoturf.model import Finding
from geoturf.rules.water.climate import MONTHS
from geoturf.water.own_table import amount, month_index, rows, unit_column
from geoturf.water.published import nearest

if TYPE_CHECKING:
    from geoturf.water.lawns import Lawns

_UNITS = units.factors("kgal", "hcf", "ccf", "gal", "m3", "acre_ft")


@dataclass(frozen=True)
class Bills:
    """``month_m3``: (n sites, 12) and ``year_m3``: (n sites,), m3, sites in the order of
    `lawns.site_numbers`; nan where not metered so. A site has the one or the other."""

    month_m3: np.ndarray
    year_m3: np.ndarray

    @property
    def metered(self) -> np.ndarray:
        """Sites with bills, bool (n sites,)."""
        by_month = ~np.isnan(self.month_m3).any(axis=1)
        either: np.ndarray = by_month | ~np.isnan(self.year_m3)
        return either


def read(lawns: Lawns, file: str, folder: str) -> Bills | None:
    """The bills of a CSV: site, use_kgal (or another unit), and month where it is by month; None
    where the bid names none. Raises `InputError`: a site that is not compared, a year beside
    months, months missing."""
    if not file:
        return None
    table = rows(Path(folder) / file, file)
    column, scale = unit_column(table, "use", file, needed=True, units=_UNITS)
    sites = list(dict.fromkeys(lawns.areas["site"]))
    number = {name: k for k, name in enumerate(sites)}
    bills = Bills(np.full((len(sites), 12), np.nan), np.full(len(sites), np.nan))
    for line, row in enumerate(table, 2):
        site = row.get("site", "")
        month = row.get("month", "")
        if site not in number:
            hint = nearest(site, sites)
            text = f"line {line}: no compared area has site '{site}'; {hint}"
            raise _fault(file, text, "unknown-site")
        values = bills.year_m3
        place = number[site]
        if month:
            values = bills.month_m3[place]
            place = month_index(month, file, line)
        if not np.isnan(values[place]):
            period = "month" if month else "year"
            text = f"line {line}: site '{site}' has this {period} twice"
            raise _fault(file, text, "twice-metered")
        values[place] = amount(row[column], "use", file, line) * scale
    _refuse_incomplete(sites, bills, file)
    return bills


def _refuse_incomplete(sites: Sequence[str], bills: Bills, file: str) -> None:
    """Each site has a year, or all twelve months, or nothing."""
    by_month = ~np.isnan(bills.month_m3)
    by_year = ~np.isnan(bills.year_m3)
    for site, months, year in zip(sites, by_month, by_year, strict=True):
        if year and months.any():
            text = f"site '{site}' has a year's use and months' too; keep one"
            raise _fault(file, text, "twice-metered")
        if months.any() and not months.all():
            gone = [name for name, there in zip(MONTHS, months, strict=True) if not there]
            needed = "give all twelve months, or one row of a year"
            text = f"site '{site}' has no use for {', '.join(gone)}; {needed}"
            raise _fault(file, text, "months-missing")


def _fault(file: str, text: str, code: str) -> InputError:
    return InputError(Finding("error", code, text, file=file))


def metered_m3(
    bills: Bills,
    modelled_m3: np.ndarray,
    ground_m2: np.ndarray,
    site: np.ndarray,
) -> np.ndarray:
    """Use now by the bills, (n, 12), where a site has them; else as ``modelled_m3`` (n, 12). A
    site's use is divided between areas, and a year's between months, as modelled; where nothing is
    modelled, by ground and evenly."""
    out = modelled_m3.copy()
    for number in np.flatnonzero(bills.metered):
        at = np.flatnonzero(site == number)
        model = modelled_m3[at]
        ground = ground_m2[at] / ground_m2[at].sum()
        if np.isnan(bills.year_m3[number]):
            out[at] = _divided(model, ground) * bills.month_m3[number]
        else:
            whole = model.sum()
            shares = model / whole if whole > 0 else ground[:, None] / 12
            out[at] = bills.year_m3[number] * shares
    return out


def _divided(model: np.ndarray, ground: np.ndarray) -> np.ndarray:
    """Shares of the areas in each month, (n, 12), columns adding up to 1."""
    year = model.sum(axis=1)
    usual = ground
    if year.sum() > 0:
        usual = year / year.sum()
    month = model.sum(axis=0)
    some = month > 0
    return np.where(some, model / np.where(some, month, 1.0), usual[:, None])


def calibration(
    bills: Bills,
    modelled_m3: np.ndarray,
    used_m3: np.ndarray,
    site: np.ndarray,
) -> np.ndarray:
    """What the meter says over what the formula says, a year, of each area's site: (n,), 1 where
    there are no bills."""
    count = len(bills.year_m3)
    said = np.bincount(site, modelled_m3.sum(axis=1), count)
    metered = np.bincount(site, used_m3.sum(axis=1), count)
    known = bills.metered & (said > 0)
    ratio = np.divide(metered, said, out=np.ones(count), where=known)
    of_area: np.ndarray = ratio[site]
    return of_area
