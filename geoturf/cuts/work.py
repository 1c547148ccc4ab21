"""What lies open on the ground while lots are worked one after the other."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
import pandas as pd

from geoturf import pile
from geoturf.model import Finding, Ground
from geoturf.rules import CutRules, Product
from geoturf.units import POUND_KG


def standing(roll: np.ndarray, lot: np.ndarray, lots: int) -> pd.DataFrame:
    """One row a lot, in the order of work, from the roll and the lot (0 .. lots - 1) of each piece.

    A roll is begun at the first lot that it serves and finished at the last. At a lot those that
    end there are finished first, one after the other; then those that serve it alone are cut, one
    after the other; then those are begun that go on. Columns: drawn (rolls it draws on), shared (of
    these, with other lots), opened, finished, open (begun and unfinished when it is done), most
    (begun and unfinished at any time on the way)."""
    number = pd.factorize(roll)[0]
    rolls = int(number.max(initial=-1)) + 1
    first = np.full(rolls, lots)
    last = np.full(rolls, -1)
    np.minimum.at(first, number, lot)
    np.maximum.at(last, number, lot)
    pairs = np.unique(np.column_stack([number, lot]), axis=0).reshape(-1, 2)
    drawn = np.bincount(pairs[:, 1], minlength=lots)
    alone = np.bincount(first[first == last], minlength=lots)
    opened = np.bincount(first, minlength=lots)
    finished = np.bincount(last, minlength=lots)
    after = np.cumsum(opened - finished)
    before = np.concatenate([[0], after[:-1]]).astype(np.int64)
    through = after - (opened - alone)  # begun before, open after
    most = np.maximum(np.maximum(before, after), through + (alone > 0))
    columns = {
        "drawn": drawn,
        "shared": drawn - alone,
        "opened": opened,
        "finished": finished,
    }
    return pd.DataFrame(
        {
            **columns,
            "open": after,
            "most": most,
        }
    )


def keeps(rows: pd.DataFrame, rules: CutRules) -> bool:
    """Whether an order of work (`standing`) opens no more rolls than allowed, and no lot that
    shares rolls draws on more than allowed."""
    crowded = (rows["drawn"] > rules.rolls_per_lot) & (rows["shared"] > 0)
    return bool((rows["most"] <= rules.open_rolls).all() and not crowded.any())


def lots_table(ground: Ground, order: Sequence[str], pieces: pd.DataFrame) -> pd.DataFrame:
    """A row a site in the ``order`` of work: site, phase, pieces, and what lies open
    (`standing`)."""
    rank = {site: at for at, site in enumerate(order)}
    at = ground.areas["site"].astype(str).map(rank).to_numpy(int)
    lot = at[pieces["area_index"].to_numpy(int)]
    phases = ground.areas.groupby(ground.areas["site"].astype(str), sort=False)["phase"]
    joined = phases.agg(lambda names: " + ".join(dict.fromkeys(names.astype(str))))
    table = standing(pieces["roll"].to_numpy(str), lot, len(order))
    table.insert(0, "pieces", np.bincount(lot, minlength=len(order)))
    table.insert(0, "phase", joined.reindex(list(order)).to_numpy())
    table.insert(0, "site", list(order))
    return table


def notes(
    ground: Ground,
    pieces: pd.DataFrame,
    products: Mapping[str, Product],
    rules: CutRules,
    trade: pd.DataFrame | None,
) -> tuple[Finding, ...]:
    """What a crew should know: pieces too heavy to carry, and what few open rolls cost."""
    return (*_heavy(ground, pieces, products, rules), *_costs(rules, trade))


def _heavy(
    ground: Ground, pieces: pd.DataFrame, products: Mapping[str, Product], rules: CutRules
) -> list[Finding]:
    """NIOSH publication 94-110, from memory: 51 lb a person at best."""
    row = pieces["area_index"].to_numpy(int)
    turf = ground.areas["product"].astype(str).to_numpy()[row]
    density = np.array([products[name].weight_kg_per_m2() for name in turf], float)
    weight = pile.cut_m2(pieces) * density
    over = int((weight > rules.carry_limit_kg * (1 + 1e-9)).sum())
    if not over:
        return []
    worst = int(np.argmax(weight))
    said = (
        f"{over:,} of {len(pieces):,} pieces weigh more than the {_told(rules.carry_limit_kg)} "
        "set for a crew"
    )
    most = f"the heaviest, {pieces['piece'].iat[worst]}, about {_told(weight[worst])}"
    mend = "move them by machine or cart, as local safety codes ask, or set cuts.carry_limit"
    return [Finding("note", "heavy-pieces", f"{said}; {most}; {mend}")]


def _told(kg: float) -> str:
    return f"{kg / POUND_KG:,.0f} lb ({kg:,.0f} kg)"


def _costs(rules: CutRules, trade: pd.DataFrame | None) -> list[Finding]:
    if trade is None:
        return []
    by_limit = trade.set_index("open_rolls")
    mine = by_limit.loc[rules.open_rolls]
    free = by_limit.loc[0]
    more = 0.0
    if free["bought_m2"]:
        more = 100 * (mine["bought_m2"] / free["bought_m2"] - 1)
    said = (
        f"cut on site with {rules.open_rolls} rolls open at most: {more:.1f} % more turf than "
        "with any number open"
    )
    money = f"{mine['money'] - free['money']:,.0f} more for turf and seams"
    opened = f"which would have {free['most']:.0f} open at a time"
    return [Finding("note", "open-rolls", f"{said} ({opened}), {money}")]
