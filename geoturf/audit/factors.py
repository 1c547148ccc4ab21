"""Units as an auditor knows them: sizes of his own, not those of `geoturf.units`, so that a fault
there is met here (international foot and avoirdupois pound, exact since 1959)."""

from __future__ import annotations

FOOT = 0.3048
POUND = 0.45359237
YARD = 3 * FOOT
OUNCE = POUND / 16
TON = 2000 * POUND

#: endings of the columns of tables
ENDINGS = {
    "_ft2": FOOT**2,
    "_ft": FOOT,
    "_lb": POUND,
    "_m2": 1.0,
    "_m": 1.0,
    "_kg": 1.0,
}

#: units that drawings are drawn in
LENGTHS = {
    "mm": 0.001,
    "cm": 0.01,
    "m": 1.0,
    "in": FOOT / 12,
    "ft": FOOT,
    "yd": YARD,
}

#: units that items are told and priced in
UNITS = {
    "ft": FOOT,
    "ft^2": FOOT**2,
    "yd^2": YARD**2,
    "yd^3": YARD**3,
    "lb": POUND,
    "ton": TON,
    "m": 1.0,
    "m2": 1.0,
    "m^2": 1.0,
    "m3": 1.0,
    "m^3": 1.0,
    "kg": 1.0,
    "t": 1000.0,
    "h": 1.0,
    "each": 1.0,
}

#: of the published tables
TABLED = {
    "1/lb": 1 / POUND,
    "lb/yd^3": POUND / YARD**3,
    "1": 1.0,
}

#: endings of columns of volumes; a gallon is 231 cubic inches
VOLUMES = {
    "_gal": 231 * (FOOT / 12) ** 3,
    "_m3": 1.0,
}
