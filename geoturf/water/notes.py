"""What the reader should know about the numbers: what is assumed, how a tiered bill is read,
whether the proof was reached."""

from __future__ import annotations

import numpy as np

from geoturf.model import Finding
from geoturf.rules.water import WaterPrice, WaterRules
from geoturf.rules.water.conversion import SHIPPED, Conversion
from geoturf.units import Money, System
from geoturf.water.bills import calibration
from geoturf.water.climate import Months
from geoturf.water.knapsack import Pick
from geoturf.water.lawns import Lawns, site_numbers
from geoturf.water.published import key, rows_of
from geoturf.water.tariff import Tariffs
from geoturf.water.view import View


def on_numbers(view: View, pick: Pick) -> list[Finding]:
    """What the reader should know about the numbers."""
    lawns = view.lawns
    rules = view.rules
    found = [
        *_of_assumptions(lawns, rules),
        *_of_rain(rules, view.months),
        *_of_meters(view),
        *_of_tiers(rules, lawns.tariffs),
        *_of_caps(lawns),
    ]
    if gone := [name for name in SHIPPED if name not in rules.offered]:
        missing = f"geoturf's own conversions not on offer: {', '.join(gone)}"
        text = f"water: of {missing}; name them in water.offer to compare them"
        found.append(Finding("note", "not-on-offer", text))
    if pick.gap > rules.gap:
        asked = f"not within the {rules.gap:.4%} asked for"
        text = f"water: the choice is proved within {pick.gap:.4%} of the best, {asked}"
        found.append(Finding("warning", "gap-not-reached", text))
    return found


def _of_assumptions(lawns: Lawns, rules: WaterRules) -> list[Finding]:
    """One note with every value that the bid leaves to geoturf and no source stands behind."""
    assumed = []
    for name in lawns.names:
        own = _assumed(name, rules.conversions[name], lawns.told)
        assumed += [f"{name}.{word}" for word in own]
    assumed += _assumed_of_covers(lawns, rules)
    assumed += [f"price of water {price}" for price in _assumed_of_water(lawns, rules)]
    round_ones = "these are geoturf's own round assumptions, set your own"
    text = f"water: {round_ones}: {', '.join(assumed)}"
    if assumed:
        return [Finding("note", "assumed-cost", text)]
    return []


def _of_tiers(rules: WaterRules, tariffs: Tariffs) -> list[Finding]:
    """How a tiered bill is read."""
    if not tariffs.tiered:
        return []
    alone = "a row's water bill is as if its area alone converted"
    text = f"water: {alone}; totals work out each site's bill with its tiers"
    found = [Finding("note", "water-tiers", text)]
    if rules.objective == "money" and not tariffs.rising():
        falling = "blocks get cheaper, so the choice weighs each area's bill alone"
        text = f"water: {falling}, and its proof holds for that only"
        found.append(Finding("warning", "falling-tiers", text))
    return found


def _of_caps(lawns: Lawns) -> list[Finding]:
    """How rebates are read whose caps areas share."""
    conversions = zip(lawns.names, lawns.conversions, strict=True)
    capped = [name for name, of in conversions if of.rebate is not None and of.rebate.shared]
    if not capped:
        return []
    alone = f"a row's rebate for {', '.join(capped)} is as if its area alone converted"
    text = f"water: {alone}; totals keep to the caps of sites and of all together"
    return [Finding("note", "rebate-caps", text)]


def _of_rain(rules: WaterRules, months: Months) -> list[Finding]:
    """How rain is counted, where the bid leaves that to geoturf."""
    if not months.rain_m.any():
        text = "water: no rain is stated, so none is counted, and use is told too high by it"
        return [Finding("note", "no-rain", text)]
    if "effective_rain" in rules.climate.model_fields_set:
        return []
    counted = f"rain is counted by {rules.climate.effective_rain}, geoturf's default"
    return [Finding("note", "rain-method", f"water: {counted}; 'how sure' tries the other ways")]


def _of_meters(view: View) -> list[Finding]:
    """How far the meters are from the model, site by site and all together."""
    bills = view.lawns.bills
    use = view.use
    if bills is None:
        return []
    site = site_numbers(view.lawns)
    at = bills.metered[site]
    ratio = calibration(bills, use.modelled_m3, use.before_m3, site)[at]
    names = view.lawns.areas["site"].to_numpy()[at]
    low = names[ratio.argmin()]
    high = names[ratio.argmax()]
    metered = use.before_m3[at].sum()
    modelled = use.modelled_m3[at].sum()
    whole = np.nan
    if modelled > 0:
        whole = metered / modelled
    file = view.rules.metered
    text = (
        f"water: {int(bills.metered.sum())} of {len(bills.metered)} sites are metered ({file}) "
        f"and take {whole:.2f} of what the formula says, "
        f"from {ratio.min():.2f} at {low} to {ratio.max():.2f} at {high}; "
        "their use now is the meter's, all of it taken to be of the areas compared"
    )
    return [Finding("note", "metered", text, file=file)]


def assumed_conversions(lawns: Lawns, rules: WaterRules) -> str:
    """What is said first where the bid states no conversions, or leaves what decides most, their
    capital and the price of water, at geoturf's own; "" where it does neither."""
    if rules.offer:
        return _assumed_prices(lawns, rules)
    told = []
    for name in lawns.names:
        money = _assumed(name, rules.conversions[name], lawns.told)
        if money:
            told.append(f"{name}: {', '.join(money)}")
    own = "the bid states no conversions, so geoturf's own are compared at round prices"
    return f"Assumed: {own} ({'; '.join(told)})."


def _assumed_prices(lawns: Lawns, rules: WaterRules) -> str:
    """Which of the prices that a bid states, or leaves out, are geoturf's own; "" where none is."""
    own = []
    for name in lawns.names:
        words = _assumed(name, rules.conversions[name], lawns.told)
        own += [f"{name} {word}" for word in words if word.startswith("capital")]
    own += [f"water {price}" for price in _assumed_of_water(lawns, rules)]
    if not own:
        return ""
    return f"Assumed: {', '.join(own)}: geoturf's own round prices, set your own."


def _assumed_of_water(lawns: Lawns, rules: WaterRules) -> list[str]:
    """The price of water where it is geoturf's own."""
    price = rules.price.price
    if rules.prices or str(price) != WaterPrice.model_fields["price"].default:
        return []
    return [lawns.told.money(price)]


def _assumed(name: str, conversion: Conversion, told: System) -> list[str]:
    """Keys of a shipped conversion that still have the shipped value, and that."""
    shipped = SHIPPED.get(name, {})
    found = []
    for word in ("capital", "kept_line", "upkeep", "establishing_years"):
        value = getattr(conversion, word)
        if word in shipped and str(value) == str(shipped[word]):
            found.append(f"{word} {told.money(value) if isinstance(value, Money) else value}")
    return found


def _assumed_of_covers(lawns: Lawns, rules: WaterRules) -> list[str]:
    """Upkeep of published covers that the money uses, and efficiencies without a published source,
    before and after."""
    conversions = lawns.conversions
    new_covers = {key(c.cover) for c in conversions if c.cover and c.upkeep is None}
    covers: set[str] = set()
    if any(conversion.cover for conversion in conversions):  # else no upkeep changes
        covers = set(lawns.areas["cover"]) | new_covers
    own = {key(name) for name in rules.covers}
    new_methods = {key(c.irrigation) for c in conversions if c.irrigation}
    methods = set(lawns.areas["irrigation"]) | new_methods
    stated = {key(name) for name in rules.efficiencies} | {"hose"}
    unsourced = {row["method"] for row in rows_of("irrigation") if row["seen"] == "assumption"}
    told = [
        f"upkeep of {name} {lawns.told.money(lawns.covers[name].upkeep)}"
        for name in sorted(covers - own)
    ]
    assumed = sorted((methods & unsourced) - stated)
    told += [f"efficiency of {name} {lawns.efficiencies[name]:g}" for name in assumed]
    return told
