"""Which areas are laid and which are estimated."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd

from geoturf.errors import BidError
from geoturf.model import Finding, Ground
from geoturf.rules import LayoutRules
from geoturf.units import US, System


def method(ground: Ground, rules: LayoutRules, told: System = US) -> Ground:
    """The ground with the column ``estimated`` of its areas, where the rules ask for an estimate or
    it is too much to lay; the sites that they name are laid all the same. Raises `BidError` for a
    site that is not there."""
    if rules.method == "lay":
        return _largest_estimated(ground, rules, told)
    site = ground.areas["site"].astype(str)
    there = set(site)
    unknown = [name for name in rules.lay if name not in there]
    if unknown:
        raise BidError([_unknown(name, site) for name in unknown])
    return replace(ground, areas=ground.areas.assign(estimated=~site.isin(rules.lay)))


def _largest_estimated(ground: Ground, rules: LayoutRules, told: System) -> Ground:
    """The ground as it is, or, where it is more than a run lays, with its largest areas to be
    estimated: as many as leave no more to lay."""
    size = ground.areas["ground_area_m2"].to_numpy(float)
    if size.sum() <= rules.laid_bid_m2:
        return ground
    free = ~ground.areas["site"].astype(str).isin(rules.lay).to_numpy()
    largest = np.lexsort((np.arange(len(size)), -size.round(3), ~free))
    left = size.sum() - np.cumsum(size[largest])
    many = min(int(np.searchsorted(-left, -rules.laid_bid_m2)) + 1, int(free.sum()))
    estimated = np.isin(np.arange(len(size)), largest[:many])
    told_so = _told(size, estimated, rules, told)
    areas = ground.areas.assign(estimated=estimated)
    return replace(ground, areas=areas, findings=(*ground.findings, told_so))


def _told(size: np.ndarray, estimated: np.ndarray, rules: LayoutRules, told: System) -> Finding:
    limit = told.land(rules.laid_bid_m2)
    total = told.land(float(size.sum()))
    least, most = (told.land(float(one)) for one in (size[estimated].min(), size.max()))
    which = f"the {int(estimated.sum()):,} largest areas ({least} to {most})"
    why = f"in a bid of {total} (over [layout] laid_bid = {limit}) {which} are estimated, not laid"
    return Finding("warning", "much-estimated", f"{why}; split the bid, or raise it, to lay them")


def _unknown(name: str, site: pd.Series) -> Finding:
    some = ", ".join(site.drop_duplicates().iloc[:3])
    message = f"'{name}' is to be laid, and no site is called so; there are {some} …"
    return Finding("error", "unknown-lay", f"layout.lay: {message}", site=name)
