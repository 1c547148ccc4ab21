"""The water comparison against itself; nothing where the bid has none."""

from __future__ import annotations

import numpy as np

from geoturf.check.finding import always, told
from geoturf.model import Finding, Result

CLOSE = 1e-6  # sums of floats, relative
CENT = 0.01


def _name(result: Result, row: int) -> str:
    """``site 12, area front``; rows count all areas, laid or not."""
    area = result.all_ground.areas.iloc[row]
    if area["area"]:
        return f"site {area['site']}, area {area['area']}"
    return f"site {area['site']}"


def savings(result: Result) -> list[Finding]:
    """What a conversion saves is the area's use before less its use after; the months add up to the
    year."""
    if result.water is None:
        return []
    table = result.water.table
    months = result.water.monthly
    before = table.groupby("area_index")["baseline_m3"].transform("first")
    missed = (before - table["use_m3"] - table["saved_m3"]).to_numpy(float)
    wrong = np.abs(missed) > CLOSE * (1 + before.to_numpy(float))
    found = told(
        "saving-no-difference",
        wrong,
        lambda k: (
            f"{_name(result, table['area_index'].iloc[k])}: {table['conversion'].iloc[k]} does not "
            "save what it says"
        ),
    )
    due = {
        "baseline_m3": table.groupby("area_index")["baseline_m3"].first().sum(),
        "saved_m3": table.loc[table["chosen"], "saved_m3"].sum(),
    }
    for column, year in due.items():
        off = np.array([abs(months[column].sum() - year) > CLOSE * (1 + abs(year))])
        found += told(
            "months-not-year", off, always(f"the months' {column} do not add up to {year:.3f}")
        )
    return found


def choice(result: Result) -> list[Finding]:
    """At most one conversion is chosen for an area, they are ranked 1, 2, 3 ..., and they keep to
    the budget."""
    if result.water is None:
        return []
    chosen = result.water.table[result.water.table["chosen"]]
    twice = chosen["area_index"].duplicated().to_numpy()
    found = told(
        "chosen-twice",
        twice,
        lambda k: f"{_name(result, chosen['area_index'].iloc[k])} is converted twice",
    )
    ranks = np.sort(chosen["rank"].to_numpy(int))
    found += told(
        "ranks",
        ranks != np.arange(1, len(ranks) + 1),
        lambda k: f"no conversion is chosen as number {k + 1}",
    )
    rules = result.bid.water
    if rules.budget is not None:
        spent = chosen["capital"].sum() - (
            chosen["rebate"].sum() if rules.budget_takes != "capital" else 0.0
        )
        over = np.array([spent > float(rules.budget.amount) + CENT])
        found += told(
            "over-budget",
            over,
            lambda _: f"conversions for {spent:.2f} are chosen, the budget is {rules.budget}",
        )
    return found


def ordinance(result: Result) -> list[Finding]:
    """The steps from the ordinance's estimate lead to the use of the comparison."""
    if result.water is None or result.water.differences is None:
        return []
    steps = result.water.differences.set_index("plan")
    table = result.water.table
    added = ["etwu_m3", "special_m3", "constant_m3", "rain_m3", "unplanted_m3"]
    before = table.groupby("area_index")["baseline_m3"].first().sum()
    saved = table.loc[table["chosen"], "saved_m3"].sum()
    due = {"existing": before, "chosen": before - saved}
    found = []
    for plan, year in due.items():
        off = np.array([abs(steps.loc[plan, added].sum() - year) > CLOSE * (1 + abs(year))])
        found += told(
            "two-balances", off, always(f"the ordinance's steps do not lead to the {plan} use")
        )
    return found


PROMISES = (savings, choice, ordinance)
