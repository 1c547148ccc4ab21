"""Cautions a bid carries: those its own work calls for."""

from __future__ import annotations

from collections.abc import Mapping

from geoturf.model import CutPlan, Ground, Takeoff
from geoturf.rules import MaterialRules, Product


def of(
    ground: Ground, plan: CutPlan, takeoff: Takeoff, products: Mapping[str, Product], rules: MaterialRules
) -> tuple[str, ...]:
    return ()
