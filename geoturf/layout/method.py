"""Which areas are laid and which are estimated."""

from __future__ import annotations

from dataclasses import replace

import pandas as pd

from geoturf.errors import BidError
from geoturf.model import Finding, Ground
from geoturf.rules import LayoutRules


def method(ground: Ground, rules: LayoutRules) -> Ground:
    """The ground with the column ``estimated`` of its areas, where the rules ask for an estimate;
    the sites that they name are laid all the same. Raises `BidError` for a site that is not
    there."""
    if rules.method == "lay":
        return ground
    site = ground.areas["site"].astype(str)
    there = set(site)
    unknown = [name for name in rules.lay if name not in there]
    if unknown:
        raise BidError([_unknown(name, site) for name in unknown])
    return replace(ground, areas=ground.areas.assign(estimated=~site.isin(rules.lay)))


def _unknown(name: str, site: pd.Series) -> Finding:
    some = ", ".join(site.drop_duplicates().iloc[:3])
    message = f"'{name}' is to be laid, and no site is called so; there are {some} …"
    return Finding("error", "unknown-lay", f"layout.lay: {message}", site=name)
