"""What all tables are made by: columns by their own names, columns carried through, percents."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from geoturf import columns
from geoturf.model import KEPT, Result, kept_columns


def as_it_stands(file: str, result: Result, rows: pd.DataFrame) -> pd.DataFrame:
    """The table of ``file`` from ``rows`` that hold its columns by their own names."""
    wanted = [column.base for column in columns.of(file) if column.base in rows or not column.when]
    return columns.table_of(file, result.bid.units, {name: rows[name] for name in wanted})


def kept(table: pd.DataFrame) -> list[str]:
    """The columns of ``table`` that were carried through from the input."""
    return list(table.attrs.get("kept", ()))


def with_kept(table: pd.DataFrame, rows: pd.DataFrame) -> pd.DataFrame:
    """``table`` with the columns that the bid keeps, as ``rows`` have them."""
    names = kept_columns(rows)
    for name in names:
        table[name.removeprefix(KEPT)] = rows[name].to_numpy()
    table.attrs["kept"] = [name.removeprefix(KEPT) for name in names]
    return table


def laid(result: Result) -> bool:
    """Whether turf is laid, on paper, at least on some areas: where all is estimated there are no
    pieces and no rolls, and nothing is ordered."""
    return result.plan.estimate is None or len(result.plan.pieces) > 0


def waste_pct(bought: Any, needed: Any) -> np.ndarray:
    """Percent by which ``bought`` exceeds ``needed``: 0 where neither is, NaN where there is no
    telling, since turf is bought and none would have to be, or one is not known."""
    bought = np.asarray(bought, dtype=float)
    needed = np.asarray(needed, dtype=float)
    none = np.where(bought > 0, np.nan, 0.0)
    return np.where(needed <= 0, none, 100 * (bought / np.where(needed <= 0, 1, needed) - 1))


def words_of_sites(site: pd.Series, words: pd.Series) -> pd.Series:
    """The words of each site's areas, each once, as they come; most sites have one."""
    once = pd.DataFrame({"site": site, "words": words}).drop_duplicates()
    by_site = once.groupby("site", sort=False)["words"]
    out = by_site.first()
    many = by_site.size() > 1
    several = once[once["site"].isin(many.index[many])].groupby("site", sort=False)["words"]
    out.update(several.agg(" + ".join))
    return out
