"""Rules of the takeoff: depths, densities, packages, allowances, production rates."""

from __future__ import annotations

from typing import Literal

from pydantic import ValidationInfo, field_validator, model_validator

from geoturf import data, units
from geoturf.rules.base import (
    COMMON,
    ArealMass,
    AreaRate,
    Density,
    Fraction,
    Length,
    LengthRate,
    Mass,
    Number,
    Rules,
    Time,
    Volume,
    VolumeRate,
    rule,
)
from geoturf.rules.base import Area as AreaSize
from geoturf.rules.items import ITEMS, cannot_leave

Nail = Literal["8d", "10d", "16d", "20d", "30d", "40d", "50d", "60d"]

EARTH = "Army FM 5-434 Table 1-1 (data/swell.csv)"
STONE = "WSDOT Design Manual M 22-01 Exhibit 620-1 (data/aggregate.csv)"
LIFTS = "Ohio DOT CMS 304.04: 4 in for rollers under 10 tons"
LAP = "Caltrans Standard Specifications 26-1.03C; FHWA NHI-07-092 by CBR (data/lap.csv)"


_SIZES = (
    "truck_m3", "earth_step_m3", "lift_m", "aggregate_step_kg", "fabric_roll_width_m", "fabric_roll_length_m",
    "below_roll_width_m", "below_roll_length_m", "odour_bag_kg", "tape_roll_m", "adhesive_covers_m", "glue_covers_m2",
    "delivery_truck_kg",
    "fabric_spacing_m", "nail_box_kg", "edging_board_m", "stake_spacing_m", "infill_bag_kg", "hours_a_day_h", "lift_limit_kg",
    "drain_roll_m", "pad_roll_m2", "edging_strip_m", "nailer_board_m",
)  # fmt: skip


def positive(value: float) -> float:
    """A size or a rate, which is divided by."""
    if value <= 0:
        raise ValueError("must be more than zero")
    return value


class Rates(Rules):
    """What one crew gets done in an hour. Every one is the user's own to set."""

    setup_h: Time = rule(
        "2 h", "crew-hours a site to set up and clear away (an hour on coming, an hour on leaving)"
    )
    dig_m3_per_h: VolumeRate = rule(
        "5 yd^3/h",
        "earth in place dug and loaded (a mini skid's bucket of 0.4 yd3, a turn every 5 minutes)",
    )
    base_m2_per_h: AreaRate = rule(
        "250 ft^2/h",
        "base placed and compacted, one lift (3 yd3, that is 5 tons, spread, graded and rolled "
        "twice)",
    )
    drain_m_per_h: LengthRate = rule(
        "30 ft/h", "drain line trenched 6 in deep, laid to fall and wrapped in stone"
    )
    odour_m2_per_h: AreaRate = rule(
        "1500 ft^2/h", "granules spread (15 bags of 50 lb by drop spreader, one pass)"
    )
    pad_m2_per_h: AreaRate = rule(
        "400 ft^2/h", "pads laid, trimmed and taped (a roll in 45 minutes)"
    )
    fabric_m2_per_h: AreaRate = rule(
        "1500 ft^2/h", "fabric laid and pinned (a roll of 6 ft x 300 ft in 72 minutes, 170 pins)"
    )
    turf_m2_per_h: AreaRate = rule(
        "200 ft^2/h", "turf laid, trimmed and fitted (a strip of 15 ft x 40 ft in 3 hours)"
    )
    seam_m_per_h: LengthRate = rule(
        "50 ft/h",
        "seam joined (two of a crew of three join 15 ft in 20 to 30 minutes, from memory)",
    )
    cross_seam_h: Time = rule(
        "0.25 h",
        "crew-hours a cross seam takes over and above its length: both ends cut to each other, "
        "pile matched",
    )
    nails: Number = rule(350, "nails driven an hour (three people, one every half minute each)")
    glue_m2_per_h: AreaRate = rule(
        "150 ft^2/h", "adhesive spread (a pail that covers 200 ft2 in 80 minutes, by trowel)"
    )
    edging_m_per_h: LengthRate = rule(
        "40 ft/h", "edging board set (two boards of 20 ft trenched, set to line and staked)"
    )
    infill_m2_per_h: AreaRate = rule(
        "1000 ft^2/h",
        "infill spread and broomed (25 bags of 50 lb by drop spreader, in lifts, each broomed in)",
    )
    caps: Number = rule(
        8, "irrigation heads capped or lines rerouted an hour (two people, a head in 15 minutes)"
    )

    @field_validator("*")
    @classmethod
    def _gets_done(cls, value: float, info: ValidationInfo) -> float:
        if info.field_name in ("setup_h", "cross_seam_h"):
            return value
        return positive(value)


if _unknown := {item.rate for item in ITEMS.values() if item.rate} - set(Rates.model_fields):
    raise ValueError(f"items name rates that are none: {', '.join(_unknown)}")


class MaterialRules(Rules):
    """Quantities beyond turf."""

    pool: Literal["phase", "site"] = rule(
        "phase", "over what quantities are summed before rounding up to packages", source=COMMON
    )
    leave_out: tuple[str, ...] = rule(
        (), "items left to others, each with the work that goes with it"
    )

    dig_depth_m: Length = rule(
        "4 in", "dug out under the turf", low="3 in", high="4 in", source=COMMON
    )
    soil: Literal["sand", "loam", "clay", "blasted rock"] = rule(
        "loam", "what is dug, for its swell", source=EARTH
    )
    swell: Fraction | None = rule(
        None, "loose over in-place volume, less one; by soil if not given", source=EARTH
    )
    truck_m3: Volume = rule("10 yd^3", "loose earth in a load")
    pallet_kg: Mass = rule("2000 lb", "bags on a pallet", source=f"{COMMON}, from memory")
    delivery_truck_kg: Mass = rule(
        "22 ton",
        "what a truck that delivers carries, of turf, infill, granules and what else is ordered",
        low="5 ton",
        high="24 ton",
        source=f"{COMMON}; 80,000 lb gross on Interstates (23 CFR 658.17, from memory) less the "
        "truck",
    )
    earth_step_m3: Volume = rule("1 yd^3", "earth is paid for by whole steps of this")

    base_depth_m: Length = rule(
        "4 in", "aggregate base, compacted", low="3 in", high="4 in", source=COMMON
    )
    aggregate: Literal["base course", "top course", "ballast"] = rule(
        "base course", "kind of stone, for its densities", source=STONE
    )
    compacted_density_kg_per_m3: Density | None = rule(
        None, "dry, compacted; by kind if not given", source=STONE
    )
    loose_density_kg_per_m3: Density | None = rule(
        None, "dry, in the truck; by kind if not given", source=STONE
    )
    moisture: Fraction = rule(
        "4 %", "water in the stone as weighed, of its dry weight", low="0 %", high="8 %"
    )
    relative_compaction: Fraction = rule(
        "95 %", "of maximum dry density (ASTM D1557), stated on the bid", source=COMMON
    )
    lift_m: Length = rule("4 in", "compacted at a time by hand-led plant", source=LIFTS)
    aggregate_step_kg: Mass = rule("1 ton", "stone is bought by whole steps of this")
    aggregate_allowance: Fraction = rule("5 %", "stone over net")

    sod_kill: bool = rule(False, "sod is killed where the layer's cover is a living one")
    drain_spacing_m: Length | None = rule(
        None,
        "drain lines under the base this far apart; none if not given",
        low="5 ft",
        high="30 ft",
    )
    drain_roll_m: Length = rule("100 ft", "drain line on a roll")
    drain_allowance: Fraction = rule("5 %", "drain line over net")
    outlets_per_site: Number = rule(1, "outlets of a site with drain lines")
    loader: bool = rule(
        False, "a loader with its operator moves the stone while the base is placed"
    )

    fabric: bool = rule(True, "weed fabric on the base", source=COMMON)
    fabric_overlap_m: Length = rule(
        "6 in", "overlap of strips and of ends", low="6 in", high="12 in", source=COMMON
    )
    fabric_roll_width_m: Length = rule("6 ft", "width of a roll")
    fabric_roll_length_m: Length = rule("300 ft", "length of a roll")
    fabric_allowance: Fraction = rule("3 %", "fabric over net")
    fabric_below_base: bool = rule(
        False, "a separation fabric under the base, where the soil shifts or pumps", source=COMMON
    )
    subgrade: Literal["unknown", "firm", "soft", "very soft"] = rule(
        "unknown",
        "CBR over 3, 1 to 3, under 1 (sew it under 0.5): for the overlap of that fabric",
        source=LAP,
    )
    below_overlap_m: Length | None = rule(
        None,
        "overlap of its strips and of its ends; by subgrade if not given",
        low="0.9 ft",
        high="3.3 ft",
        source=LAP,
    )
    below_roll_width_m: Length = rule("12.5 ft", "width of its roll")
    below_roll_length_m: Length = rule("360 ft", "length of its roll")

    odour_rate_kg_per_m2: ArealMass = rule(
        "0.5 lb/ft^2", "granules under turf for pets", source=COMMON
    )
    odour_bag_kg: Mass = rule("50 lb", "granules in a bag")
    odour_allowance: Fraction = rule("0 %", "granules over net")

    pad_roll_m2: AreaSize = rule("300 ft^2", "pad on a roll, or in a bundle of panels")
    pad_allowance: Fraction = rule("5 %", "pad over net")

    tape_roll_m: Length = rule("100 ft", "seam tape on a roll")
    tape_allowance: Fraction = rule("5 %", "tape over net")
    adhesive_covers_m: Length = rule("20 ft", "seam that a tube of adhesive covers")
    adhesive_allowance: Fraction = rule("10 %", "adhesive over net")
    glue_covers_m2: AreaSize = rule("200 ft^2", "glued turf that a pail of adhesive covers")
    glue_allowance: Fraction = rule("5 %", "adhesive over net")

    turf_nail: Nail = rule("40d", "nail of perimeter and field", source=COMMON)
    seam_nail: Nail = rule("20d", "nail of nailed seams", source=COMMON)
    fabric_nail: Nail = rule("20d", "nail of the fabric, or a staple of its weight", source=COMMON)
    fabric_spacing_m: Length = rule("3 ft", "fasteners of the fabric, both ways")
    nail_box_kg: Mass = rule("50 lb", "nails in a box", source=COMMON)
    nail_allowance: Fraction = rule("5 %", "nails over net")

    edging_board_m: Length = rule("20 ft", "length of an edging board")
    edging_strip_m: Length = rule("10 ft", "length of a steel edging strip")
    nailer_board_m: Length = rule("16 ft", "length of a nailer board along a fence")
    edging_allowance: Fraction = rule("5 %", "edging over net")
    stake_spacing_m: Length = rule("3 ft", "stakes along edging")

    infill_rate_kg_per_m2: ArealMass | None = rule(
        None, "infill; by the product's pile weight if not given", source=COMMON
    )
    infill_density_kg_per_m3: Density = rule(
        "100 lb/ft^3",
        "dry sand as poured, to tell the infill's depth",
        low="80 lb/ft^3",
        high="105 lb/ft^3",
        source="general references",
    )
    infill_bag_kg: Mass = rule("50 lb", "infill in a bag", source=COMMON)
    infill_allowance: Fraction = rule("3 %", "infill over net")

    caps_per_site: Number = rule(4, "irrigation heads to cap at a site whose layer gives none")
    cap_covers_m2: AreaSize | None = rule(
        None, "watered ground to a head, for heads where the layer gives none; not by site then"
    )
    reroutes_per_site: Number = rule(
        0, "irrigation lines rerouted, or kept for rinsing and cooling, a site"
    )

    hours_a_day_h: Time = rule("8 h", "hours in a working day, of crews and of hired plant")
    lift_limit_kg: Mass = rule("50 lb", "what one person may lift, for the lifting caution")
    rates: Rates = rule({}, "production rates of a crew")

    @field_validator("drain_spacing_m", "cap_covers_m2")
    @classmethod
    def _lies_apart(cls, value: float | None) -> float | None:
        if value is None:
            return value
        return positive(value)

    @field_validator(*_SIZES)
    @classmethod
    def _holds_something(cls, value: float) -> float:
        return positive(value)

    @field_validator("leave_out")
    @classmethod
    def _can_be_left(cls, keys: tuple[str, ...]) -> tuple[str, ...]:
        if cannot_leave(keys):
            raise ValueError(cannot_leave(keys))
        return keys

    @model_validator(mode="after")
    def _packages_hold_something(self) -> MaterialRules:
        empty = [item.key for item in ITEMS.values() if not item.size(self) > 0]
        if empty:
            raise ValueError(f"what {', '.join(empty)} is bought by must be more than zero")
        return self

    @model_validator(mode="after")
    def _laps_fit(self) -> MaterialRules:
        for name, lap in (("fabric", self.fabric_overlap_m), ("below", self.lap_below_m())):
            if lap >= min(
                getattr(self, f"{name}_roll_width_m"), getattr(self, f"{name}_roll_length_m")
            ):
                raise ValueError(
                    f"{name}_overlap must be less than the width and the length of its roll"
                )
        return self

    def lap_below_m(self) -> float:
        """The overlap of the separation fabric in force."""
        if self.below_overlap_m is None:
            return data.value("lap", self.subgrade, "lap")
        return self.below_overlap_m

    def lifts(self, base_depth_m: float | None = None) -> int:
        """How many times the base is placed and compacted, of the bid's depth or another."""
        depth = self.base_depth_m if base_depth_m is None else base_depth_m
        return units.round_up(depth, self.lift_m)

    def nails_a_box(self, nail: str) -> float:
        """How many nails of a size (``40d``) there are in a box."""
        return self.nail_box_kg * data.value("nails", nail, "count")
