"""The build-up: waste, contingency, sales tax, overhead, profit, bond, least price, each on the
subtotal it names."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

import numpy as np
import pandas as pd

from geoturf.price.money import cents_of, decimal_of, part_of, shared
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
_KINDS = {"material": "materials", "labour": "labour", "plant": "plant", "service": "services"}


@dataclass(frozen=True, slots=True)
class Step:
    """One step: ``cents`` is ``rate`` of ``base`` (cents), which is what ``on`` says."""

    name: str
    on: str
    rate: float
    base: int
    cents: int
    book: str  # the price book it is of; "" for the bid's own prices

    def title(self) -> str:
        of = f", {100 * self.rate:g} % of {self.on}" if self.rate else ""
        return self.name.capitalize() + of + (f" (price book {self.book})" if self.book else "")


def build_up(lines: pd.DataFrame, rules: PriceRules, book: str = "") -> list[Step]:
    """Every step on the lines' direct cost."""
    direct = int(lines["cents"].sum())
    materials = int(lines.loc[lines["kind"] == "material", "cents"].sum())
    steps: list[Step] = []
    waste, so_far = 0, direct
    for name, key, on in STEPS:
        base = {"waste": materials, "sales tax": materials + waste}.get(name, so_far)
        rate = getattr(rules, key) if key else 0.0
        cents = part_of(base, rate)
        if name == "minimum charge":
            base = cents_of(rules.minimum.amount) if rules.minimum is not None else 0
            cents = max(0, base - so_far)
        waste = cents if name == "waste" else waste
        so_far += cents
        steps.append(Step(name, on, rate, base, cents, book))
    return steps


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


def as_table(lines: pd.DataFrame, steps: list[Step]) -> pd.DataFrame:
    """step, on (in words), base, rate (fraction), amount, subtotal (all up to here)."""
    subtotals = int(lines["cents"].sum()) + np.cumsum([step.cents for step in steps])
    rows = [
        (
            step.name,
            step.on,
            decimal_of(step.base),
            step.rate,
            decimal_of(step.cents),
            decimal_of(subtotal),
        )
        for step, subtotal in zip(steps, subtotals, strict=True)
    ]
    return pd.DataFrame(rows, columns=["step", "on", "base", "rate", "amount", "subtotal"])


def loads(lines: pd.DataFrame, steps: list[Step]) -> pd.DataFrame:
    """Lines-aligned cents: amount, each step's share by what it is reckoned on, cost and price
    (sums along the row)."""
    out = pd.DataFrame({"amount": lines["cents"].to_numpy(np.int64)})
    material = lines["kind"].eq("material").to_numpy()
    for step in steps:
        weights = out.sum(axis=1).to_numpy()
        if step.name in ("waste", "sales tax"):
            weights = material * (out["amount"] + out.get("waste", 0)).to_numpy()
        out[step.name] = shared(step.cents, weights)
    out["cost"] = out[["amount", *COST_STEPS]].sum(axis=1)
    out["price"] = out[["amount", *(step.name for step in steps)]].sum(axis=1)
    return out
