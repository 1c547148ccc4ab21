"""What the reader should know about the numbers: what is assumed, how a tiered bill is read, whether the proof was
reached."""

from __future__ import annotations

import numpy as np

from geoturf.model import Finding
from geoturf.rules.water import WaterRules
from geoturf.rules.water.conversion import SHIPPED, Conversion
from geoturf.water.bills import calibration
from geoturf.water.climate import Months
from geoturf.water.lawns import Lawns, site_numbers
from geoturf.water.money import blocks
from geoturf.water.problem import Pick
from geoturf.water.published import key, table
from geoturf.water.tiered import rising
from geoturf.water.view import View


def findings(view: View, pick: Pick) -> list[Finding]:
    """What the reader should know about the numbers."""
    lawns, rules, months = view.lawns, view.rules, view.months
    found = []
    assumed = [f"{name}.{word}" for name in lawns.names for word in _assumed(name, rules.conversions[name])]
    assumed += _assumed_of_covers(lawns, rules)
    if str(rules.price.price) == type(rules.price).model_fields["price"].default:
        assumed.append(f"price of water {rules.price.price}")
    if assumed:
        text = f"water: these are geoturf's own round assumptions, set your own: {', '.join(assumed)}"
        found.append(Finding("note", "assumed-cost", text))
    found += [*_of_rain(rules, months), *_of_meters(view)]
    if rules.price.tiers:
        text = "a row's water bill is as if its area alone converted; totals work out each site's bill with its tiers"
        found.append(Finding("note", "water-tiers", f"water: {text}"))
        if rules.objective == "money" and not rising(blocks(rules.price)[1]):
            text = "blocks get cheaper, so the choice weighs each area's bill alone, and its proof holds for that only"
            found.append(Finding("warning", "falling-tiers", f"water: {text}"))
    if gone := [name for name in SHIPPED if name not in rules.offered]:
        text = f"water: of geoturf's own conversions not on offer: {', '.join(gone)}; name them in water.offer to compare them"
        found.append(Finding("note", "not-on-offer", text))
    if pick.gap > rules.gap:
        text = (
            f"water: the choice is proved within {pick.gap:.4%} of the best, not within the {rules.gap:.4%} asked for"
        )
        found.append(Finding("warning", "gap-not-reached", text))
    return found


def _of_rain(rules: WaterRules, months: Months) -> list[Finding]:
    """How rain is counted, where the bid leaves that to geoturf."""
    if not months.rain_m.any():
        return [
            Finding("note", "no-rain", "water: no rain is stated, so none is counted, and use is told too high by it")
        ]
    if "effective_rain" in rules.climate.model_fields_set:
        return []
    text = (
        f"water: rain is counted by {rules.climate.effective_rain}, geoturf's default; 'how sure' tries the other ways"
    )
    return [Finding("note", "rain-method", text)]


def _of_meters(view: View) -> list[Finding]:
    """How far the meters are from the model, site by site and all together."""
    bills, use = view.lawns.bills, view.use
    if bills is None:
        return []
    site = site_numbers(view.lawns)
    at = bills.metered[site]
    ratio = calibration(bills, use.modelled_m3, use.before_m3, site)
    names = view.lawns.areas["site"].to_numpy()
    low, high = (names[at][pick(ratio[at])] for pick in (np.argmin, np.argmax))
    whole = use.before_m3[at].sum() / use.modelled_m3[at].sum() if use.modelled_m3[at].sum() > 0 else np.nan
    text = (
        f"water: {int(bills.metered.sum())} of {len(bills.metered)} sites are metered ({view.rules.metered}) and take "
        f"{whole:.2f} of what the formula says, from {ratio[at].min():.2f} at {low} to {ratio[at].max():.2f} at {high}; their "
        "use now is the meter's, all of it taken to be of the areas compared"
    )
    return [Finding("note", "metered", text, file=view.rules.metered)]


def assumed_conversions(lawns: Lawns, rules: WaterRules) -> str:
    """What is said first where the bid states no conversions; "" where it does."""
    if rules.offer:
        return ""
    money = [", ".join(_assumed(name, rules.conversions[name])) for name in lawns.names]
    told = "; ".join(f"{name}: {said}" for name, said in zip(lawns.names, money, strict=True) if said)
    return f"Assumed: the bid states no conversions, so geoturf's own are compared at round prices ({told})."


def _assumed(name: str, conversion: Conversion) -> list[str]:
    """Keys of a shipped conversion that still have the shipped value."""
    shipped = SHIPPED.get(name, {})
    return [
        f"{word} {getattr(conversion, word)}"
        for word in ("capital", "kept_line", "upkeep", "establishing_years")
        if word in shipped and str(getattr(conversion, word)) == str(shipped[word])
    ]


def _assumed_of_covers(lawns: Lawns, rules: WaterRules) -> list[str]:
    """Upkeep of published covers that the money uses, and efficiencies without a published source, before and after."""
    kept = all(not c.cover for c in lawns.conversions)  # no cover changes, so no upkeep does
    after = {key(c.cover) for c in lawns.conversions if c.cover and c.upkeep is None}
    covers = set() if kept else set(lawns.areas["cover"]) | after
    own = {key(name) for name in rules.covers}
    methods = set(lawns.areas["irrigation"]) | {key(c.irrigation) for c in lawns.conversions if c.irrigation}
    stated = {key(name) for name in rules.efficiencies}
    unsourced = {row["method"] for row in table("irrigation") if row["seen"] == "assumption"}
    return [f"upkeep of {name} {lawns.covers[name].upkeep}" for name in sorted(covers - own)] + [
        f"efficiency of {name} {lawns.efficiencies[name]:g}"
        for name in sorted((methods & unsourced) - stated - {"hose"})
    ]
