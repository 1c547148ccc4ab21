"""The order of work against the rolls that are cut in it."""

from __future__ import annotations

from collections import Counter

import numpy as np
import pandas as pd

from geoturf.check.finding import told
from geoturf.model import Finding, Result


def every_lot_once(result: Result) -> list[Finding]:
    """The order of work holds each site once, and none that is not there."""
    lots = _lots(result)
    there = pd.unique(result.ground.areas["site"].astype(str))
    wrong = lots["site"].duplicated() | ~lots["site"].isin(there)
    missed = ~pd.Series(there).isin(lots["site"])
    return told(
        "lot-not-once",
        wrong.to_numpy(bool),
        lambda k: f"the order of work has site {lots['site'].iloc[k]} twice, or there is none",
    ) + told(
        "lot-not-once",
        missed.to_numpy(bool),
        lambda k: f"the order of work lacks site {there[k]}",
    )


def as_given(result: Result) -> list[Finding]:
    """Where the layers number the lots, they are worked by their numbers."""
    if every_lot_once(result):
        return []
    numbers = result.ground.areas.groupby(result.ground.areas["site"].astype(str))["work_order"]
    sites = _lots(result)["site"]
    given = sites.map(numbers.min()).to_numpy(float)
    with np.errstate(invalid="ignore"):
        wrong = np.append(False, ~(given[1:] > given[:-1]))
    return told(
        "order-not-kept",
        wrong & ~np.isnan(given),
        lambda k: f"site {sites.iloc[k]} is worked too late for its work_order",
    )


def few_open(result: Result) -> list[Finding]:
    """On site, no more rolls are begun and unfinished at any time than the bid allows. Worked over
    again, lot by lot: what ends at a lot is cut up first, roll by roll; then what serves it alone;
    then what goes on is begun."""
    if not _on_site(result):
        return []
    lots = _lots(result)
    limit = result.bid.cuts.open_rolls
    most = [row["most"] for row in _worked(result)]
    return told(
        "too-many-open",
        np.array(most, int) > limit,
        lambda k: f"at site {lots['site'].iloc[k]} {most[k]} rolls are open, over {limit}",
    )


def few_drawn(result: Result) -> list[Finding]:
    """On site, a lot that shares a roll with another draws on no more rolls than the bid allows."""
    if not _on_site(result):
        return []
    lots = _lots(result)
    limit = result.bid.cuts.rolls_per_lot
    drawn = _worked(result)
    wrong = [row["drawn"] > limit and row["shared"] > 0 for row in drawn]
    return told(
        "too-many-drawn",
        np.array(wrong, bool),
        lambda k: f"site {lots['site'].iloc[k]} draws on {drawn[k]['drawn']} rolls, over {limit}",
    )


def order_sums(result: Result) -> list[Finding]:
    """What the order of work says of each lot is what its pieces and their rolls say."""
    if every_lot_once(result) or not len(_lots(result)):
        return []
    counts = ["pieces", "drawn", "shared", "opened", "finished", "open", "most"]
    lots = _lots(result)
    worked = pd.DataFrame(_worked(result), columns=counts)
    wrong = np.zeros(len(lots), bool)
    for name in counts:
        wrong |= lots[name].to_numpy(float) != worked[name].to_numpy(float)
    return told(
        "order-sums",
        wrong,
        lambda k: f"the order of work does not agree with the rolls at site {lots['site'].iloc[k]}",
    )


PROMISES = (every_lot_once, as_given, few_open, few_drawn, order_sums)


def _lots(result: Result) -> pd.DataFrame:
    lots = result.plan.lots
    if lots is None:
        return pd.DataFrame({"site": []})
    return lots


def _on_site(result: Result) -> bool:
    return bool(result.bid.cuts.cutting == "site")


def _worked(result: Result) -> list[dict[str, int]]:
    """What is begun, finished and open as one lot after the other is worked."""
    pieces = result.plan.pieces
    site = result.ground.areas["site"].astype(str).to_numpy()[pieces["area_index"].to_numpy(int)]
    left: dict[str, set[str]] = {}  # lots that a roll still has to serve
    for roll, name in zip(pieces["roll"], site, strict=True):
        left.setdefault(roll, set()).add(name)
    shared = {roll for roll, lots in left.items() if len(lots) > 1}
    mine: dict[str, list[str]] = {}
    for roll, lots in left.items():
        for name in lots:
            mine.setdefault(name, []).append(roll)
    count = Counter(site.tolist())
    begun: set[str] = set()  # and unfinished
    rows = []
    for name in _lots(result)["site"]:
        most = len(begun)
        here = mine.get(name, [])
        opened = [roll for roll in here if roll not in begun]
        ended = [roll for roll in here if left[roll] == {name}]
        begun -= set(ended)
        if set(ended) & set(opened):
            most = max(most, len(begun) + 1)
        begun |= set(opened) - set(ended)
        for roll in here:
            left[roll] = left[roll] - {name}
        row = {"pieces": count[name], "drawn": len(here)}
        row |= {
            "shared": sum(roll in shared for roll in here),
            "opened": len(opened),
            "finished": len(ended),
        }
        rows.append(row | {"open": len(begun), "most": max(most, len(begun))})
    return rows
