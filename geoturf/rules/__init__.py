"""Every rule of a bid: one class a stage, gathered by `Bid`."""

from __future__ import annotations

from geoturf.rules.calendar import CalendarRules
from geoturf.rules.cuts import CutRules
from geoturf.rules.edges import EdgeRules
from geoturf.rules.ground import GroundRules, ParcelRules
from geoturf.rules.layer import Layer
from geoturf.rules.layout import CROSS_WORTH, STEEPEST, LayoutRules
from geoturf.rules.limits import LimitRules
from geoturf.rules.materials import MaterialRules
from geoturf.rules.offer import Bidder, Client, Terms
from geoturf.rules.price import PriceRules
from geoturf.rules.product import Product
from geoturf.rules.ranges import Ranges
from geoturf.rules.water import WaterRules

__all__ = [
    "CROSS_WORTH",
    "STEEPEST",
    "Bidder",
    "CalendarRules",
    "Client",
    "CutRules",
    "EdgeRules",
    "GroundRules",
    "Layer",
    "LayoutRules",
    "LimitRules",
    "MaterialRules",
    "ParcelRules",
    "PriceRules",
    "Product",
    "Ranges",
    "Terms",
    "WaterRules",
]
