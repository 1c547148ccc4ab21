"""What stays in the office: its words, and its figures in a result."""

from __future__ import annotations

import re
from decimal import Decimal

from geoturf import tables

WORDS = (
    r"\b(costs?|overhead|profits?|mark-?up|contingency|waste[ds]?|bound|by.hand|off-?cuts?|left-?overs?|bought|"
    r"purchased?|direct|assumed|assumption|percentiles?)\b"
)
OFFICE = {
    "risk": ("cost", "price", "contingency"),
    "risk_moves": ("price_low", "price_high"),
    "areas": ["turf_bought_ft2", "waste_pct", "piece_area_ft2", "fixed_bearing_pct"],
    "sites": ["turf_bought_ft2", "waste_pct", "cost", "price_tolerance"],
    "cut_plan": ["bought_ft2", "bound_ft2", "gap_pct", "cut_bound_ft2", "waste_pct", "by_hand_ft2"],
    "build_up": ["base", "amount", "subtotal"],
    "bid": ["amount"],
    "schedule": ["amount", "overhead", "profit", "contingency", "sales_tax"],
    "phases": ["cost"],
    "pieces": ["along_ft", "across_ft", "length_ft"],
    "rolls": ["used_ft", "left_over_ft"],
}


def office_figures(result) -> dict[str, float]:
    """Figures of four digits and more that are no price: where each stands -> the figure."""
    made_ = tables.tables(result)
    prices = {Decimal(v) for name in ("sites", "phases") for v in made_[name]["price"]} | {
        result.price.totals["price"]
    }
    figures = {}
    for name, columns in OFFICE.items():
        for column in columns if name in made_ else ():
            for row, text in enumerate(made_[name][column]):
                if (
                    len(re.sub(r"\D", "", f"{float(text):.6g}")) >= 4
                    and Decimal(str(text)) not in prices
                ):
                    figures[f"{name}.{column}[{row}]"] = float(text)
    return figures
