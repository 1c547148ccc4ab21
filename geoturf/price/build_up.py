"""The build-up: waste, contingency, sales tax, overhead, profit, bond, least price, each on the
subtotal it names."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

import numpy as np
import pandas as pd

from geoturf.price.money import cents_of, decimal_of, shared
from geoturf.rules import PriceRules

#: steps in their order: name, the rule that is the rate, what it is reckoned on
STEPS = (
    ("waste", "waste", "materials"),
    ("contingency", "contingency", "direct cost and waste"),
    ("sales tax", "sales_tax", "materials and waste"),
    ("overhead", "overhead", "cost"),
    ("profit", "profit", "cost and overhead"),
    ("bond", "bond", "cost, overhead and profit"),
    ("minimum charge", "", "the least price, less all that"),
)
#: the steps that are cost; those after them are not
COST_STEPS = ("waste", "contingency", "sales tax")
_KINDS = {
    "material": "materials",
    "labour": "labour",
    "plant": "plant",
    "service": "services",
}


@dataclass(frozen=True, slots=True)
class Step:
    """One step: ``cents`` is ``rate`` of ``base`` (cents), which is what ``on`` says."""

    name: str
    on: str
    rate: float
    base: int
    cents: int
    book: str  # the price book it is of; "" for the bid's own prices
    scale: tuple[tuple[int, float], ...] = ()  # (up to cents, rate) below where ``rate`` holds
    kinds: tuple[str, ...] = ()  # the kinds of line whose cost it is on; all if none are named

    def title(self) -> str:
        rates = [f"{100 * rate:g} % to {end / 100:,.0f}" for end, rate in self.scale]
        above = f"{100 * self.rate:g} %" + (" above" if rates else "")
        of = ""
        if rates or self.rate:
            of = f", {', '.join((*rates, above))} of {self.on}"
        return self.name.capitalize() + of + (f" (price book {self.book})" if self.book else "")


def build_up(lines: pd.DataFrame, rules: PriceRules, book: str = "") -> list[Step]:
    """Every step on the lines' direct cost."""
    direct = int(lines["cents"].sum())
    materials = int(lines.loc[lines["kind"] == "material", "cents"].sum())
    taxed = int(lines.loc[lines["kind"].isin(_taxed(rules)), "cents"].sum())
    steps: list[Step] = []
    waste = 0
    so_far = direct
    for name, key, on in STEPS:
        base = {"waste": materials, "sales tax": taxed + waste}.get(name, so_far)
        rate = getattr(rules, key) if key else 0.0
        scale = _scale(rules) if name == "bond" else ()
        cents = _on_scale(base, rate, scale)
        kinds = {"waste": ("material",), "sales tax": _taxed(rules)}.get(name, ())
        if name == "minimum charge":
            least = cents_of(rules.minimum.amount) if rules.minimum is not None else 0
            base = least if so_far else 0  # nothing laid is nothing to charge for
            cents = max(0, base - so_far)
        waste = cents if name == "waste" else waste
        so_far += cents
        told = on
        if "plant" in kinds:
            told = on.replace("materials", "materials, hired plant")
        steps.append(Step(name, told, rate, base, cents, book, scale, kinds))
    return steps


def _taxed(rules: PriceRules) -> tuple[str, ...]:
    if rules.tax_on_plant:
        return ("material", "plant")
    return ("material",)


def _scale(rules: PriceRules) -> tuple[tuple[int, float], ...]:
    """Ends (cents) and rates of the bond's brackets."""
    return tuple((cents_of(one.up_to.amount), one.rate) for one in rules.bond_scale)


def _on_scale(base: int, rate: float, scale: tuple[tuple[int, float], ...]) -> int:
    """Each bracket's rate of what lies in it, ``rate`` of the rest; rounded once, in cents."""
    due = Decimal(0)
    below = 0
    for end, own in (*scale, (base, rate)):
        due += Decimal(max(0, min(base, end) - below)) * Decimal(str(own))
        below = max(below, end)
    return cents_of(due / 100)


def price_cents(lines: pd.DataFrame, steps: list[Step]) -> int:
    return int(lines["cents"].sum()) + sum(step.cents for step in steps)


def totals(lines: pd.DataFrame, steps: list[Step]) -> dict[str, Decimal]:
    """Direct cost by kind, its sum, each step, the cost (before overhead) and the price."""
    out = {
        word: int(lines.loc[lines["kind"] == kind, "cents"].sum()) for kind, word in _KINDS.items()
    }
    out["direct cost"] = int(lines["cents"].sum())
    for name, *_ in STEPS:
        out[name] = sum(step.cents for step in steps if step.name == name)
        if name == COST_STEPS[-1]:
            out["cost"] = out["direct cost"] + sum(out[name] for name in COST_STEPS)
    out["price"] = price_cents(lines, steps)
    return {name: decimal_of(cents) for name, cents in out.items()}


_TABLE = ["step", "on", "base", "rate", "amount", "subtotal", "scale", "kinds"]


def as_table(lines: pd.DataFrame, steps: list[Step]) -> pd.DataFrame:
    """step, on (in words), base, rate (fraction), amount, subtotal (all up to here), scale (amount
    and rate of each bracket below where the rate holds), kinds (of line that it is on; all if
    empty)."""
    subtotals = int(lines["cents"].sum()) + np.cumsum([step.cents for step in steps])
    rows = [
        (
            step.name,
            step.on,
            decimal_of(step.base),
            step.rate,
            decimal_of(step.cents),
            decimal_of(subtotal),
            tuple((decimal_of(end), rate) for end, rate in step.scale),
            step.kinds,
        )
        for step, subtotal in zip(steps, subtotals, strict=True)
    ]
    return pd.DataFrame(rows, columns=_TABLE)


def loads(lines: pd.DataFrame, steps: list[Step]) -> pd.DataFrame:
    """Lines-aligned cents: amount, each step's share by what it is reckoned on, cost and price
    (sums along the row)."""
    out = pd.DataFrame({"amount": lines["cents"].to_numpy(np.int64)})
    for step in steps:
        weights = out.sum(axis=1).to_numpy()
        if step.kinds:
            of = lines["kind"].isin(step.kinds).to_numpy()
            weights = of * (out["amount"] + out.get("waste", 0)).to_numpy()
        out[step.name] = shared(step.cents, weights)
    out["cost"] = out[["amount", *COST_STEPS]].sum(axis=1)
    out["price"] = out[["amount", *(step.name for step in steps)]].sum(axis=1)
    return out
