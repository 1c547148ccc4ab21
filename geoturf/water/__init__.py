"""Water: what the lawns take, what each conversion saves and costs, and which to choose for a
budget (spec 8).

    published.py   the tables that ship, and the bid's own values over them
    climate.py     twelve months of reference evapotranspiration and rain
      own_table.py   from a station's table (bills are read so, too)
      weather.py     from daily weather
    rain.py        how much of the rain counts
    bills.py       metered use, in place of what the formula says is used now
    lawns.py       the areas that take part and what is offered to each
    demand.py      water by month before and after
    money.py       bill, payback, net present value, cost of a saved cubic metre
    view.py        one case of weather and prices, and what a choice comes to in it
    asked.py       what the bid asks beside its aim: musts, saving, districts, funds
    funds.py       which fund pays for what of a choice
    choice.py      what the bid asks as a knapsack; the choice for a budget, and for every budget
      knapsack.py    its nouns
      chooser.py     how it is solved and proved, with relaxation.py, rounding.py, highs.py
      tiered.py      the same for shared bills
    programme.py   the choice with a budget for each year
    outlook.py     low, middle, high; which input moves the choice
    ordinance.py   MAWA against ETWU, and how both differ from the comparison's balance
    place.py       whose ordinance holds for which site
    sited.py       what holds for a site by what a column says
    tariff.py      what water costs each site
    profile.py     local minimums for synthetic turf
    story.py       table, ranking, reasons, totals
    notes.py       what is assumed, and whether the proof was reached
    cautions.py    what to mind

All volumes are m3, a year unless a name says otherwise, areas m2, money floats in the bid's
currency.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np
import pandas as pd

from geoturf.model import Ground, Water
from geoturf.rules import Product
from geoturf.rules.water import WaterRules
from geoturf.threads import begin
from geoturf.units import US, System
from geoturf.water import asked, bills, choice, notes, ordinance, outlook, profile, programme, story
from geoturf.water.cautions import cautions
from geoturf.water.chooser import Chooser
from geoturf.water.climate import of_places
from geoturf.water.lawns import Lawns
from geoturf.water.lawns import lawns as taking_part
from geoturf.water.place import holdings, together
from geoturf.water.view import View, view


def check(
    ground: Ground,
    rules: WaterRules,
    currency: str,
    folder: str = ".",
    told: System = US,
) -> None:
    """Raises what `compare` would raise of the bid and its files before any price is known, so
    that a run that must be refused is refused before turf is laid out."""
    any_price = pd.Series(1.0, index=ground.areas.index)
    middle = _middle(ground, any_price, rules, currency, folder, told)
    choice.knapsack(middle)
    asked.refuse_beyond_reach(middle)
    for one in holdings(rules, middle.lawns):
        ordinance.landscapes(middle.lawns, one.rules)


def _with_bills(lawns: Lawns, rules: WaterRules, folder: str) -> Lawns:
    return replace(lawns, bills=bills.read(lawns, rules.metered, folder))


def turf_needs_price(rules: WaterRules) -> bool:
    """Whether turf is on offer at this bid's own price for it."""
    offered = [rules.conversions[name] for name in rules.offered]
    return any(one.turf and one.capital is None for one in offered)


def to_be_turf(
    ground: Ground,
    turf_price: pd.Series | None,
    rules: WaterRules,
    currency: str,
    folder: str = ".",
    told: System = US,
) -> np.ndarray:
    """Which areas are to be turf, bool (n,): those that `compare` would choose it for, and those
    that take no part in the comparison."""
    settled = _settled(_middle(ground, turf_price, rules, currency, folder, told), currency)
    lawns = settled.view.lawns
    chosen = settled.pick.chosen
    turf = np.array([*(one.turf for one in lawns.conversions), False])  # -1, none, is the last
    out = np.ones(len(ground.areas), dtype=bool)
    out[lawns.areas["area_index"].to_numpy(int)] = turf[chosen]
    return out


def _middle(
    ground: Ground,
    turf_price: pd.Series | None,
    rules: WaterRules,
    currency: str,
    folder: str,
    told: System,
) -> View:
    """The comparison in the case that is reckoned with."""
    lawns = _with_bills(taking_part(ground, turf_price, rules, currency), rules, folder)
    lawns = replace(lawns, told=told)
    return view(lawns, of_places(lawns, rules, folder), rules)


def _settled(middle: View, currency: str) -> outlook.Settled:
    """The choice that the bid asks for."""
    rules = middle.rules
    lawns = middle.lawns
    wanted = choice.knapsack(middle)
    asked.refuse_beyond_reach(middle)
    budget = asked.limit(lawns, rules)
    over_years = programme.knapsack(middle) if rules.programme else wanted
    answer = choice.choose(over_years, Chooser(over_years), budget, rules.gap, currency)
    pick = replace(answer, chosen=programme.conversions(answer.chosen, len(lawns.names)))
    return outlook.Settled(middle, budget, wanted, pick, over_years, answer)


def compare(
    ground: Ground,
    turf_price: pd.Series | None,
    rules: WaterRules,
    currency: str,
    folder: str = ".",
    products: Mapping[str, Product] | None = None,
    told: System = US,
) -> Water:
    """Every conversion of every area with an existing cover, and the choice for the budget.

    ``turf_price``: areas-aligned, this bid's own price for turning each area into turf (Decimal or
    float, in ``currency``); None where there is none, and a turf conversion must then state its
    capital. ``folder``: where climate files start from (the bid's). ``products``: for the profile
    of local minimums; what needs them is "not known" without. ``told``: the units notes are in.

    Raises `BidError` or `InputError`, each with one line a fault. Columns: see
    `geoturf.model.Water`.
    """
    middle = _middle(ground, turf_price, rules, currency, folder, told)
    lawns = middle.lawns
    settled = _settled(middle, currency)
    wanted = settled.knapsack
    pick = settled.pick
    chooser = Chooser(wanted)
    doubled = None
    if rules.budget is not None and not rules.funds and rules.objective != "cost":
        doubled = choice.doubled(wanted, chooser, pick, settled.budget, rules.gap)
    curve = begin(lambda: choice.curve(wanted, chooser, middle))
    sensitivity = outlook.sensitivity(settled)
    held = holdings(rules, lawns)
    judged = ordinance.checked(middle, pick.chosen, held)
    compliance = judged.compliance
    table = story.offers(middle, wanted, pick)
    minimums = profile.check(lawns, ground, products, rules.profile, pick.chosen)
    return Water(
        table=table,
        monthly=story.monthly(middle, pick),
        curve=curve(),
        worksheet=judged.sheet,
        sensitivity=sensitivity,
        scenarios=outlook.scenarios(settled),
        compliance=compliance,
        differences=judged.differences,
        profile=minimums,
        summary=story.summary(
            settled, table, doubled, sensitivity, compliance, together(held), currency
        ),
        findings=(*lawns.findings, *notes.on_numbers(middle, pick), *profile.failures(minimums)),
        cautions=cautions(lawns),
    )
