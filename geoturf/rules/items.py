"""What a bid can be made of: every item once, whole in its record.

A record says where the net quantity comes from (``net``, of what `geoturf.materials.quantities`
measures), what it is bought by, what that costs, who does the work, what leaves the bid with it,
and what to beware of; see `Item`. Quantities are SI inside. An item is shown in a unit of either
system (``us``, ``metric``) and bought by its package (a roll, a box) or, where it has none, by a
measure (a ton, a yd^3). ``basis`` is the formula as a template: ``{ground:area}`` is the value
named ground, written as an area of the reader's system by `say`.

Section numbers: data/masterformat.csv (2020 numbers, most from memory). Unit prices are invented.
"""

from __future__ import annotations

from string import Formatter
from typing import Any

from geoturf import units
from geoturf.rules import item as records
from geoturf.rules.base import key_of
from geoturf.rules.item import Hazard, Hours, Item, Kind, Measure, PayItem, Setting, Work, registry

AREA = ("ft^2", "m2")
VOLUME = ("yd^3", "m3")
LENGTH = ("ft", "m")
MASS = ("lb", "kg")
STONE = ("ton", "t")
HOURS = ("h", "h")
EACH = ("each", "each")

# fmt: off
#: what a schedule of prices lists, in its order; turf stands once a product
PAY_ITEMS: dict[str, PayItem] = {item.key: item for item in (
    PayItem(
        key="setup", section="32 18 13", title="Set up and clear away",
        unit="each", shown=("site", "site"), quantity=lambda q: q["sites"],
    ),
    PayItem(
        key="earth", section="31 23 16", title="Excavate, haul and dispose, in place",
        unit="m3", shown=VOLUME, quantity=lambda q: q["dig"],
    ),
    PayItem(
        key="sod", section="31 10 00", title="Sod killed before it is taken up",
        unit="m2", shown=AREA, quantity=lambda q: q["sod"],
    ),
    PayItem(
        key="drain", section="33 41 00", title="Drain lines and their outlets",
        unit="m", shown=LENGTH, quantity=lambda q: q["drain"],
    ),
    PayItem(
        key="base", section="32 11 23", title="Aggregate base, placed and compacted",
        unit="m2", shown=AREA, quantity=lambda q: q["base"],
    ),
    PayItem(
        key="fabric", section="31 05 19", title="Fabric, ground covered by each layer",
        unit="m2", shown=AREA,
        quantity=lambda q: q["base"] * ((q["fabric"] > 0) * 1.0 + (q["geotextile"] > 0)),
    ),
    PayItem(
        key="odour", section="32 18 13", title="Odour-control granules",
        unit="m2", shown=AREA, quantity=lambda q: q["pets"],
    ),
    PayItem(
        key="pad", section="32 18 16.13", title="Pad under the turf",
        unit="m2", shown=AREA, quantity=lambda q: q["padded"],
    ),
    PayItem(
        key="turf", section="32 18 13", title="Synthetic turf, laid, joined and fastened",
        unit="m2", shown=AREA, quantity=lambda q: q["surface"],
    ),
    PayItem(
        key="edging", section="32 94 13", title="Edging, set and staked",
        unit="m", shown=LENGTH, quantity=lambda q: q["edged"],
    ),
    PayItem(
        key="infill", section="32 18 13", title="Infill, spread and broomed",
        unit="m2", shown=AREA, quantity=lambda q: q["filled"],
    ),
    PayItem(
        key="irrigation", section="32 84 00", title="Irrigation heads capped, lines rerouted",
        unit="each", shown=EACH, quantity=lambda q: q["caps"] + q["reroutes"],
    ),
)}

_GROUND = (
    Item(
        kind="service", rate="",
        key="dig", pay="earth", section="31 23 16", title="Excavation, in place",
        net=lambda q, rules: q["dug_out"], unit="m3", shown=VOLUME,
        package="", size=lambda rules: rules.earth_step_m3,
        allowance=lambda rules: 0.0,
        cost="dig", price=None,
        priced="excavation by a subcontractor, over and above labour and plant; none if not given",
        work=("labour_dig",), held_by=(), goes_with=("haul", "disposal"), cautions=("lines",),
        basis="ground {dug:area} x {dig_depth:depth}",
    ),
    Item(
        kind="service", rate="",
        key="haul", pay="earth", section="31 23 16", title="Haul away",
        net=lambda q, rules: q["loads"], unit="each", shown=EACH,
        package="load", size=lambda rules: 1.0, allowance=lambda rules: 0.0,
        cost="haul", price="165 USD/load", priced="a load hauled away",
        work=(), held_by=(), goes_with=(), cautions=(),
        basis="{dig:volume} in place x {swell:factor} loose ({soil}) = {disposal:volume}; loads"
              " of {truck:volume}, rounded up site by site",
    ),
    Item(
        kind="service", rate="",
        key="disposal", pay="earth", section="31 23 16", title="Disposal of spoil, loose",
        net=lambda q, rules: q["spoil"], unit="m3", shown=VOLUME,
        package="", size=lambda rules: rules.earth_step_m3,
        allowance=lambda rules: 0.0,
        cost="disposal", price="11 USD/yd^3", priced="tip fee, loose",
        work=(), held_by=(), goes_with=(), cautions=("lines",),
        basis="{dig:volume} in place x {swell:factor} loose ({soil})",
    ),
    Item(
        kind="service", rate="",
        key="sod_kill", pay="sod", section="31 10 00", title="Sod killed",
        net=lambda q, rules: q["sod"] * rules.sod_kill, unit="m2", shown=AREA,
        package="", size=lambda rules: units.FT2_M2, allowance=lambda rules: 0.0,
        cost="sod_kill", price="0.07 USD/ft^2", priced="sod killed, by a licensed applicator",
        work=(), held_by=(), goes_with=(), cautions=("lines",),
        basis="ground under living cover {sod:area}",
    ),
)

_MATERIALS = (
    Item(
        kind="material", rate="",
        key="drain", pay="drain", section="33 41 00", title="Drain line, perforated, wrapped",
        net=lambda q, rules: q["drained"], unit="m", shown=LENGTH,
        package="roll", size=lambda rules: rules.drain_roll_m,
        allowance=lambda rules: rules.drain_allowance,
        cost="drain", price="0.95 USD/ft", priced="drain line",
        work=("labour_drain",), held_by=(), goes_with=("outlets",), cautions=("lines", "drainage"),
        basis="base {base:area} at a line every {drain_spacing:length}",
    ),
    Item(
        kind="service", rate="",
        key="outlets", pay="drain", section="33 41 00", title="Drain outlets",
        net=lambda q, rules: q["led_out"], unit="each", shown=EACH,
        package="outlet", size=lambda rules: 1.0, allowance=lambda rules: 0.0,
        cost="outlets", price="95 USD/outlet", priced="an outlet, set and connected where that is "
                                                      "allowed",
        work=(), held_by=(), goes_with=(), cautions=("lines", "drainage"),
        basis="{outlets_per_site:number} a site with drain lines",
    ),
    Item(
        kind="material", rate="",
        key="fabric", pay="fabric", section="31 05 19", title="Weed fabric on the base",
        net=lambda q, rules: q["fabric_roll"] * rules.fabric_roll_width_m, unit="m2", shown=AREA,
        package="roll", size=lambda rules: rules.fabric_roll_width_m * rules.fabric_roll_length_m,
        allowance=lambda rules: rules.fabric_allowance,
        cost="fabric", price="0.11 USD/ft^2", priced="weed fabric",
        work=("labour_fabric",), held_by=("fabric_nails",), goes_with=(), cautions=(),
        basis="{fabric_strips:count} strips {fabric_roll_width:length} wide, ceil((W - "
              "{fabric_overlap:depth}) / ({fabric_roll_width:length} - {fabric_overlap:depth}))"
              " across each area, {fabric_length:length} in all, end laps in, off "
              "{fabric_roll:length} of"
              " roll (narrow last strips side by side)",
    ),
    Item(
        kind="material", rate="",
        key="geotextile", pay="fabric", section="31 05 19", title="Separation fabric under the "
                                                                  "base",
        net=lambda q, rules: q["below_roll"] * rules.below_roll_width_m, unit="m2", shown=AREA,
        package="roll", size=lambda rules: rules.below_roll_width_m * rules.below_roll_length_m,
        allowance=lambda rules: rules.fabric_allowance,
        cost="geotextile", price="0.19 USD/ft^2", priced="separation fabric under the base",
        work=("labour_fabric",), held_by=(), goes_with=(), cautions=(),
        basis="{below_strips:count} strips {below_roll_width:length} wide, ceil((W - "
              "{below_overlap:depth}) / ({below_roll_width:length} - {below_overlap:depth})) "
              "across each area, {below_length:length} in all, end laps in, off "
              "{below_roll:length} of "
              "roll (narrow last strips side by side)",
    ),
    Item(
        kind="material", rate="",
        key="aggregate", pay="base", section="32 11 23", title="Aggregate base, compacted",
        net=lambda q, rules: q["stone"], unit="kg", shown=STONE,
        package="", size=lambda rules: rules.aggregate_step_kg,
        allowance=lambda rules: rules.aggregate_allowance,
        cost="aggregate", price="36 USD/ton", priced="base stone, delivered",
        work=("labour_base",), held_by=(), goes_with=(), cautions=("drainage", "dust"),
        basis="surface {base:area} x {base_depth:depth} = {compacted:volume} compacted, in "
              "{lifts:number} lift(s) to {relative_compaction:percent} of maximum dry density; x"
              " {compacted_density:density} x (1 + {moisture:percent} water); "
              "{aggregate_loose:volume} in the truck (the rule of thumb, 80 ft2 a yd3 at 4 in, "
              "says "
              "{thumb:volume})",
    ),
    Item(
        kind="material", rate="",
        key="odour", pay="odour", section="32 18 13", title="Odour-control granules",
        net=lambda q, rules: q["pets"] * rules.odour_rate_kg_per_m2, unit="kg", shown=MASS,
        package="bag", size=lambda rules: rules.odour_bag_kg,
        allowance=lambda rules: rules.odour_allowance,
        cost="odour", price="31 USD/bag", priced="odour-control granules",
        work=("labour_odour",), held_by=(), goes_with=(), cautions=(),
        basis="pet areas {pets:area} x {odour_rate:rate}",
    ),
    Item(
        kind="material", rate="",
        key="pad", pay="pad", section="32 18 16.13", title="Pad under the turf",
        net=lambda q, rules: q["padded"], unit="m2", shown=AREA,
        package="roll", size=lambda rules: rules.pad_roll_m2,
        allowance=lambda rules: rules.pad_allowance,
        cost="pad", price="1.35 USD/ft^2", priced="pad under the turf",
        work=("labour_pad",), held_by=(), goes_with=(), cautions=("falls",),
        basis="areas of padded turf {padded:area}",
    ),
    Item(
        kind="material", rate="",
        key="turf", pay="turf", section="32 18 13", title="Synthetic turf",
        net=lambda q, rules: q["turf_bought"], unit="m2", shown=AREA,
        package="", size=lambda rules: 1.0, allowance=lambda rules: 0.0,
        cost="", price=None, priced="",
        work=("labour_turf",), held_by=(), goes_with=(), cautions=(),
        basis="cut plan: {pieces:count} pieces of {net:area} as cut, from {rolls:count} "
              "{sold_as} {width:length} wide, {length:length} in all",
    ),
    Item(
        kind="material", rate="",
        key="tape", pay="turf", section="32 18 13", title="Seam tape",
        net=lambda q, rules: q["taped"], unit="m", shown=LENGTH,
        package="roll", size=lambda rules: rules.tape_roll_m,
        allowance=lambda rules: rules.tape_allowance,
        cost="tape", price="42 USD/roll", priced="seam tape",
        work=("labour_seam",), held_by=(), goes_with=(), cautions=(),
        basis="seams {seam:length}, of which {cross:length} across the pile and {shared:length}"
              " between areas",
    ),
    Item(
        kind="material", rate="",
        key="adhesive", pay="turf", section="32 18 13", title="Seam adhesive",
        net=lambda q, rules: q["taped"], unit="m", shown=LENGTH,
        package="tube", size=lambda rules: rules.adhesive_covers_m,
        allowance=lambda rules: rules.adhesive_allowance,
        cost="adhesive", price="13.50 USD/tube", priced="seam adhesive",
        work=("labour_seam",), held_by=(), goes_with=(), cautions=("fumes",),
        basis="seams {seam:length}; a tube covers {adhesive_covers:length}",
    ),
    Item(
        kind="material", rate="",
        key="glue", pay="turf", section="32 18 13", title="Turf adhesive, full spread",
        net=lambda q, rules: q["glued"], unit="m2", shown=AREA,
        package="pail", size=lambda rules: rules.glue_covers_m2,
        allowance=lambda rules: rules.glue_allowance,
        cost="glue", price="148 USD/pail", priced="adhesive for glued turf",
        work=("labour_glue",), held_by=(), goes_with=(), cautions=("fumes",),
        basis="glued areas {glued:area}; a pail covers {glue_covers:area}",
    ),
    Item(
        kind="material", rate="",
        key="nails", pay="turf", section="32 18 13", title="Turf nails",
        net=lambda q, rules: q["perimeter_nails"] + q["field_nails"], unit="each", shown=EACH,
        package="box", size=lambda rules: rules.nails_a_box(rules.turf_nail),
        allowance=lambda rules: rules.nail_allowance,
        cost="nails", price="98 USD/box", priced="turf nails",
        work=("labour_nail",), held_by=(), goes_with=(), cautions=("lines",),
        basis="{perimeter_nails:count} along {fastened:length} of perimeter along the slope at "
              "{perimeter_spacing:depth} + {field_nails:count} in the field at "
              "{field_spacing:depth} both ways; {turf_nail}, {nails_per_kg:per_mass}, "
              "{nails_kg:mass}",
    ),
    Item(
        kind="material", rate="",
        key="seam_nails", pay="turf", section="32 18 13", title="Seam nails",
        net=lambda q, rules: q["seam_fasteners"], unit="each", shown=EACH,
        package="box", size=lambda rules: rules.nails_a_box(rules.seam_nail),
        allowance=lambda rules: rules.nail_allowance,
        cost="seam_nails", price="98 USD/box", priced="seam nails",
        work=("labour_seam", "labour_nail"), held_by=(), goes_with=(), cautions=("lines",),
        basis="seams {seam:length} at {seam_spacing:depth}, one more a run; {seam_nail}, "
              "{seam_nails_per_kg:per_mass}, {seam_nails_kg:mass}",
    ),
    Item(
        kind="material", rate="",
        key="fabric_nails", pay="fabric", section="31 05 19", title="Nails or staples of the "
                                                                    "fabric",
        net=lambda q, rules: units.whole_steps(q["fabric_laid"], rules.fabric_spacing_m**2), unit="each", shown=EACH,
        package="box", size=lambda rules: rules.nails_a_box(rules.fabric_nail),
        allowance=lambda rules: rules.nail_allowance,
        cost="fabric_nails", price="92 USD/box", priced="nails or staples of the fabric",
        work=(), held_by=(), goes_with=(), cautions=("lines",),
        basis="fabric under {fabric_laid:area} at {fabric_spacing:depth} both ways; "
              "{fabric_nail}, {fabric_nails_per_kg:per_mass}, {fabric_nails_kg:mass}",
    ),
    Item(
        kind="material", rate="",
        key="edging", pay="edging", section="32 94 13", title="Edging board",
        net=lambda q, rules: q["edged_board"], unit="m", shown=LENGTH,
        package="board", size=lambda rules: rules.edging_board_m,
        allowance=lambda rules: rules.edging_allowance,
        cost="edging", price="29 USD/board", priced="edging board",
        work=("labour_edging",), held_by=("stakes",), goes_with=(), cautions=(),
        basis="edges of kind {board_on}: {edging:length} along the slope",
    ),
    Item(
        kind="material", rate="",
        key="edging_steel", pay="edging", section="32 94 13", title="Edging strip, steel, stakes "
                                                                    "in",
        net=lambda q, rules: q["edged_steel"], unit="m", shown=LENGTH,
        package="strip", size=lambda rules: rules.edging_strip_m,
        allowance=lambda rules: rules.edging_allowance,
        cost="edging_steel", price="38 USD/strip", priced="steel edging strip with its stakes",
        work=("labour_edging",), held_by=(), goes_with=(), cautions=("lines",),
        basis="edges of kind {steel_on}: {edging_steel:length} along the slope",
    ),
    Item(
        kind="material", rate="",
        key="edging_nailer", pay="edging", section="32 94 13", title="Nailer board along fences",
        net=lambda q, rules: q["edged_nailer"], unit="m", shown=LENGTH,
        package="nailer", size=lambda rules: rules.nailer_board_m,
        allowance=lambda rules: rules.edging_allowance,
        cost="edging_nailer", price="17 USD/nailer", priced="treated board fixed to the foot of a "
                                                            "fence",
        work=("labour_edging",), held_by=(), goes_with=(), cautions=(),
        basis="edges of kind {nailer_on}: {edging_nailer:length} along the slope",
    ),
    Item(
        kind="material", rate="",
        key="stakes", pay="edging", section="32 94 13", title="Edging stakes",
        net=lambda q, rules: q["edge_stakes"], unit="each", shown=EACH,
        package="stake", size=lambda rules: 1.0, allowance=lambda rules: rules.edging_allowance,
        cost="stakes", price="1.15 USD/stake", priced="edging stakes",
        work=(), held_by=(), goes_with=(), cautions=("lines",),
        basis="edging {edging:length} at {stake_spacing:depth}, one more an area",
    ),
    Item(
        kind="material", rate="",
        key="infill", pay="infill", section="32 18 13", title="Infill",
        net=lambda q, rules: q["infill_middle"], unit="kg", shown=MASS,
        package="bag", size=lambda rules: rules.infill_bag_kg,
        allowance=lambda rules: rules.infill_allowance,
        cost="infill", price="11.75 USD/bag", priced="infill",
        work=("labour_infill",), held_by=(), goes_with=(), cautions=("dust",),
        basis="filled areas {filled:area} x {infill_rate:rate} (the pile weight takes "
              "{infill_low:rate} to {infill_high:rate}), {infill_depth:thickness} deep at "
              "{infill_density:density}",
    ),
    Item(
        kind="material", rate="",
        key="granules", pay="infill", section="32 18 13", title="Odour-control granules as infill",
        net=lambda q, rules: q["granulated"], unit="kg", shown=MASS,
        package="bag", size=lambda rules: rules.odour_bag_kg,
        allowance=lambda rules: rules.odour_allowance,
        cost="odour", price="31 USD/bag", priced="odour-control granules",
        work=("labour_infill",), held_by=(), goes_with=(), cautions=("dust",),
        basis="areas filled with granules, at the rates of their turf: {granulated:mass}",
    ),
    Item(
        kind="material", rate="",
        key="caps", pay="irrigation", section="32 84 00", title="Irrigation heads capped",
        net=lambda q, rules: q["caps_given"] + q["caps_assumed"], unit="each", shown=EACH,
        package="cap", size=lambda rules: 1.0, allowance=lambda rules: 0.0,
        cost="caps", price="9.50 USD/cap", priced="fittings of a capped head",
        work=("labour_caps",), held_by=(), goes_with=(), cautions=("lines", "irrigation"),
        basis="{caps_given:count} from the layer + {caps_assumed:count} at "
              "{caps_by} where none are given",
    ),
    Item(
        kind="service", rate="",
        key="reroutes", pay="irrigation", section="32 84 00", title="Irrigation lines rerouted or "
                                                                    "kept for rinsing",
        net=lambda q, rules: q["rerouted"], unit="each", shown=EACH,
        package="line", size=lambda rules: 1.0, allowance=lambda rules: 0.0,
        cost="reroutes", price="135 USD/line", priced="a line rerouted or kept, by a licensed "
                                                      "person",
        work=("labour_caps",), held_by=(), goes_with=(), cautions=("lines", "irrigation"),
        basis="{reroutes:count} at {reroutes_per_site:number} a site",
    ),
)
# fmt: on


def _labour(
    key: str,
    pay: str,
    section: str,
    title: str,
    rate: str,
    measure: Measure,
    basis: str,
    more: tuple[Work, ...] = (),
) -> Item:
    """A task of a crew: its ``measure`` by the production rate ``rate``, and what ``more`` work
    goes with it."""
    return Item(
        key=f"labour_{key}", pay=pay, kind="labour", section=section, title=title,
        net=Hours((Work(measure, rate), *more)), unit="h", shown=HOURS,
        package="crew-hour", size=lambda rules: 1.0, allowance=lambda rules: 0.0,
        cost="labour", price="148 USD/h", priced="a crew-hour, burden in", rate=rate,
        work=(), held_by=(), goes_with=(), cautions=(),
        basis=basis,
    )  # fmt: skip


# ``all_<task>``: net quantities of all items that a task is done for
_LABOUR = (
    _labour(
        "setup", "setup", "32 18 13", "Set up and clear away", "setup_h",
        lambda q: q["sites"],
        "{sites:count} site(s) x {rate_setup:hours}",
    ),
    _labour(
        "dig", "earth", "31 23 16", "Dig and load", "dig_m3_per_h",
        lambda q: q["all_dig"],
        "{all_dig:volume} / {rate_dig:volume_rate}",
    ),
    _labour(
        "base", "base", "32 11 23", "Place and compact the base", "base_m2_per_h",
        lambda q: q["lifted"],
        "surface {base:area} x {lifts:number} lift(s) / {rate_base:area_rate}",
    ),
    _labour(
        "drain", "drain", "33 41 00", "Trench and lay drain lines", "drain_m_per_h",
        lambda q: q["all_drain"],
        "drain lines {all_drain:length} / {rate_drain:length_rate}",
    ),
    _labour(
        "odour", "odour", "32 18 13", "Spread granules", "odour_m2_per_h",
        lambda q: q["pets"].where(q["all_odour"] > 0, 0.0),
        "pet areas {pets:area} / {rate_odour:area_rate}",
    ),
    _labour(
        "pad", "pad", "32 18 16.13", "Lay pads", "pad_m2_per_h",
        lambda q: q["all_pad"],
        "padded areas {all_pad:area} / {rate_pad:area_rate}",
    ),
    _labour(
        "fabric", "fabric", "31 05 19", "Lay fabric", "fabric_m2_per_h",
        lambda q: q["all_fabric"],
        "fabric {all_fabric:area} / {rate_fabric:area_rate}",
    ),
    _labour(
        "turf", "turf", "32 18 13", "Lay, trim and fit turf", "turf_m2_per_h",
        lambda q: q["surface"],
        "surface {surface:area} / {rate_turf:area_rate}",
    ),
    _labour(
        "seam", "turf", "32 18 13", "Join seams", "seam_m_per_h",
        lambda q: q["seam"],
        "seams {seam:length} / {rate_seam:length_rate}, "
        "{crossings:count} cross seam(s) x {rate_cross_seam:hours}",
        (Work(lambda q: q["crossings"], "cross_seam_h"),),
    ),
    _labour(
        "nail", "turf", "32 18 13", "Drive nails", "nails",
        lambda q: q["all_nail"],
        "{all_nail:count} nails / {rate_nails:number} an hour",
    ),
    _labour(
        "glue", "turf", "32 18 13", "Spread adhesive", "glue_m2_per_h",
        lambda q: q["all_glue"],
        "glued areas {all_glue:area} / {rate_glue:area_rate}",
    ),
    _labour(
        "edging", "edging", "32 94 13", "Set edging", "edging_m_per_h",
        lambda q: q["all_edging"],
        "edging {all_edging:length} / {rate_edging:length_rate}",
    ),
    _labour(
        "infill", "infill", "32 18 13", "Spread infill and broom", "infill_m2_per_h",
        lambda q: q["filled"] * (q["all_infill"] > 0),
        "filled areas {filled:area} / {rate_infill:area_rate}",
    ),
    _labour(
        "caps", "irrigation", "32 84 00", "Cap and reroute irrigation", "caps",
        lambda q: q["all_caps"],
        "{all_caps:count} / {rate_caps:number} an hour",
    ),
)  # fmt: skip


def _machine(
    key: str,
    pay: str,
    section: str,
    title: str,
    task: str,
    rate: str,
    price: str,
    priced: str,
    hired: Setting = lambda rules: 1.0,
) -> Item:
    """Plant that is ``hired`` (1, else 0): it runs while its task does, and is paid for by the
    day."""
    return Item(
        key=key, pay=pay, kind="plant", section=section, title=title,
        net=lambda q, rules: q[f"labour_{task}"] * hired(rules), unit="h", shown=HOURS,
        package="day", size=lambda rules: rules.hours_a_day_h,
        allowance=lambda rules: 0.0,
        cost=key, price=price, priced=priced, rate=rate,
        work=(), held_by=(), goes_with=(), cautions=(),
        basis=f"{{labour_{task}:hours}} of crew time / {{hours_a_day:hours}} a day",
    )  # fmt: skip


_PLANT = (
    _machine("excavator", "earth", "31 23 16", "Excavator or skid steer", "dig", "dig_m3_per_h",
             "380 USD/day", "excavator or skid steer, fuel in"),
    _machine("compactor", "base", "32 11 23", "Plate compactor", "base", "base_m2_per_h", "92 USD/day", "plate compactor"),
    _machine("loader", "base", "32 11 23", "Loader", "base", "base_m2_per_h", "640 USD/day",
             "loader with its operator, fuel in", lambda rules: float(rules.loader)),
    _machine("broom", "infill", "32 18 13", "Power broom", "infill", "infill_m2_per_h", "105 USD/day", "power broom"),
    _machine("spreader", "infill", "32 18 13", "Infill spreader", "infill", "infill_m2_per_h", "48 USD/day", "infill spreader"),
)  # fmt: skip

#: every item, in the order a bid lists them
ITEMS: dict[str, Item] = registry((*_GROUND, *_MATERIALS, *_LABOUR, *_PLANT), PAY_ITEMS.values())

#: what each task is done for; with the last of these the task leaves too, and its plant with it
DONE_FOR: dict[str, tuple[str, ...]] = {
    task: tuple(key for key, item in ITEMS.items() if task in item.work)
    for task in dict.fromkeys(task for item in ITEMS.values() for task in item.work)
}


def tasks_of(key: str) -> tuple[str, ...]:
    """The tasks that an item is there for: those of its own work, or of what it holds or goes with;
    of plant the task whose rate it runs at."""
    item = ITEMS[key]
    if item.kind == "plant":
        return tuple(
            k for k, o in ITEMS.items() if o.kind == "labour" and task_of(k) == task_of(key)
        )
    users = [one for one in ITEMS.values() if key in (*one.held_by, *one.goes_with)]
    return item.work or tuple(task for one in users for task in one.work)


def of_kind(*kinds: Kind) -> list[Item]:
    """The items of some kinds, in their order."""
    return [item for item in ITEMS.values() if item.kind in kinds]


def beware(hazard: Hazard) -> tuple[str, ...]:
    """The items whose work calls for the cautions about ``hazard``."""
    return tuple(key for key, item in ITEMS.items() if hazard in item.cautions)


#: of what a rate is reckoned by: the end of its field's name -> the units it is shown in
_MEASURED_IN = {
    "_m3_per_h": VOLUME,
    "_m2_per_h": AREA,
    "_m_per_h": LENGTH,
}


def measured_in(rate: str, system: str) -> tuple[str, float]:
    """The unit of a production rate (a field of `Rates`) as ``system`` shows it, and its SI
    size."""
    if records.takes_time(rate):
        return "h", 1.0
    for end, shown in _MEASURED_IN.items():
        if rate.endswith(end):
            unit = shown[0 if system == "us" else 1]
            return f"{unit}/h", units.unit_factor(unit)[0]
    return "each/h", 1.0


def work_of(key: str) -> tuple[Work, ...]:
    """What the hours of a task, or of the plant that runs with it, are reckoned by; nothing of
    materials and services."""
    hours = ITEMS[task_beside(key)].net if ITEMS[key].rate else None
    if isinstance(hours, Hours):
        return hours.work
    return ()


def task_beside(key: str) -> str:
    """The task that a machine runs with; of a task itself."""
    return next(task.key for task in of_kind("labour") if task.rate == ITEMS[key].rate)


def task_of(key: str) -> str:
    """The production rate, as bids name it, that an item's hours are reckoned by; "" of materials
    and services."""
    return key_of(ITEMS[key].rate)


def misfit(cost: str, money: units.Money) -> str:
    """Why a unit cost is not per anything its item is bought by; "" where it fits."""
    return records.misfit(cost, money, ITEMS.values())


def together(keys: tuple[str, ...]) -> list[str]:
    """Items left out, and those that leave with them."""
    return [
        *keys,
        *(other for key in keys for other in (*ITEMS[key].held_by, *ITEMS[key].goes_with)),
    ]


def idle(keys: tuple[str, ...]) -> list[str]:
    """Tasks that nothing is left to do for when items are left out."""
    return [task for task, items in DONE_FOR.items() if set(items) <= set(keys)]


def cannot_leave(keys: tuple[str, ...]) -> str:
    """Why items cannot be left out of any bid; "" where they can: no turf, or an item without its
    work or what holds it."""
    holds = {part: (whole,) for whole, item in ITEMS.items() for part in item.held_by}
    needed = DONE_FOR | holds
    for key in keys:
        if key not in ITEMS:
            return f"'{key}' is no item; items are {', '.join(ITEMS)}"
        if key == "turf":
            return "'turf' is what a bid is for; take it off the list"
        left = [item for item in needed.get(key, ()) if item not in keys]
        if left:
            named = " and ".join(left)
            return (
                f"'{key}' alone would leave {named} without it; leave out {named}, and it goes "
                "too, or take it off the list"
            )
    return ""


#: section of the lines that belong to the whole bid (overhead, profit, bond …)
GENERAL_SECTION = "01 00 00"

# how a value is written: spec -> {system: (unit, decimals)}
_WORDS: dict[str, dict[str, tuple[str, int]]] = {
    "area": {"us": ("ft^2", 0), "metric": ("m^2", 1)},
    "length": {"us": ("ft", 1), "metric": ("m", 2)},
    "depth": {"us": ("in", 1), "metric": ("mm", 0)},
    "thickness": {"us": ("in", 2), "metric": ("mm", 1)},
    "volume": {"us": ("yd^3", 1), "metric": ("m^3", 2)},
    "mass": {"us": ("lb", 0), "metric": ("kg", 0)},
    "density": {"us": ("lb/yd^3", 0), "metric": ("kg/m^3", 0)},
    "rate": {"us": ("lb/ft^2", 2), "metric": ("kg/m^2", 2)},
    "per_mass": {"us": ("1/lb", 0), "metric": ("1/kg", 1)},
    "hours": {"us": ("h", 1), "metric": ("h", 1)},
    "area_rate": {"us": ("ft^2/h", 0), "metric": ("m^2/h", 1)},
    "length_rate": {"us": ("ft/h", 0), "metric": ("m/h", 1)},
    "volume_rate": {"us": ("yd^3/h", 1), "metric": ("m^3/h", 1)},
}


class _Speech(Formatter):
    def __init__(self, system: str):
        self.system = system

    def format_field(self, value: Any, format_spec: str) -> str:
        if format_spec in _WORDS:
            unit, decimals = _WORDS[format_spec][self.system]
            text = f"{value / units.unit_factor(unit)[0]:,.{decimals}f}"
            if unit.startswith("1/"):
                return f"{text} a {unit[2:]}"
            return f"{text} {unit}"
        if format_spec == "percent":
            return f"{100 * value:g} %"
        if format_spec in ("count", "number", "factor"):
            if format_spec == "count":
                return f"{value:,.0f}"
            return f"{value:g}"
        return str(value)


def shown(items: Any, system: str) -> Any:
    """A takeoff's ``items`` as a reader of ``system`` ("us" or "metric") sees them: net, net_low,
    net_high and order_size in ``unit``, now the shown one, and ``basis`` in its units (the column
    basis_metric is gone)."""
    unit = items["key"].map({key: getattr(item, system) for key, item in ITEMS.items()})
    sizes = {name: 1.0 if name == "each" else units.unit_factor(name)[0] for name in unit.unique()}
    factor = unit.map(sizes)
    measures = {name: items[name] / factor for name in ("net", "net_low", "net_high", "order_size")}
    basis = items["basis" if system == "us" else "basis_metric"]
    return items.assign(
        unit=unit,
        basis=basis,
        **measures,
    ).drop(columns="basis_metric")


def say(template: str, values: dict[str, Any], system: str) -> str:
    """``template`` with its ``values`` (SI) written in the units of ``system`` ("us" or
    "metric")."""
    return _Speech(system).format(template, **values)
