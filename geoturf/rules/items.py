"""What a bid can be made of: every item once, with its section, its units and its formula in words.

Quantities are SI inside. An item is shown in a unit of either system (``us``, ``metric``) and
bought by its package (a roll, a box) or, where it has none, by a measure (a ton, a yd^3). ``basis``
is the formula as a template: ``{ground:area}`` is the value named ground, written as an area of the
reader's system by `say`.

Section numbers: data/masterformat.csv (2020 numbers, most from memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from string import Formatter
from typing import Any, Literal

from geoturf import units

Kind = Literal["material", "labour", "plant", "service"]
Dimension = tuple[int, int, int]


@dataclass(frozen=True, slots=True)
class Item:
    """``unit``: the SI unit of its net quantity (m2, m3, m, kg, h, each); ``us``, ``metric``: the
    units it is shown in. ``package``: the word for what is bought, "" where it is bought by
    measure. ``cost``: the key of its unit price."""

    key: str
    kind: Kind
    section: str
    title: str
    unit: str
    us: str
    metric: str
    package: str
    cost: str
    basis: str

    @property
    def dimension(self) -> Dimension | None:
        """(length, mass, time) exponents of its net quantity; None for counted things."""
        return None if self.unit == "each" else units.unit_factor(self.unit)[1]


_SHOWN = {
    "m2": ("ft^2", "m2"),
    "m3": ("yd^3", "m3"),
    "m": ("ft", "m"),
    "kg": ("lb", "kg"),
    "h": ("h", "h"),
    "each": ("each", "each"),
}


def _item(
    key: str, kind: Kind, section: str, title: str, unit: str, package: str, basis: str, cost: str | None = None
) -> Item:
    us, metric = ("ton", "t") if key == "aggregate" else _SHOWN[unit]
    return Item(key, kind, section, title, unit, us, metric, package, key if cost is None else cost, basis)


_MATERIALS = (
    _item("fabric", "material", "31 05 19", "Weed fabric on the base", "m2", "roll",
          "{fabric_strips:count} strips {fabric_roll_width:length} wide, ceil((W - {fabric_overlap:depth}) / "
          "({fabric_roll_width:length} - {fabric_overlap:depth})) across each area, {fabric_length:length} in all, end laps in"),
    _item("geotextile", "material", "31 05 19", "Separation fabric under the base", "m2", "roll",
          "{below_strips:count} strips {below_roll_width:length} wide, ceil((W - {below_overlap:depth}) / "
          "({below_roll_width:length} - {below_overlap:depth})) across each area, {below_length:length} in all, end laps in"),
    _item("aggregate", "material", "32 11 23", "Aggregate base, compacted", "kg", "",
          "surface {base:area} x {base_depth:depth} = {compacted:volume} compacted, in {lifts:count} lift(s) to "
          "{relative_compaction:percent} of maximum dry density; x {compacted_density:density} x (1 + {moisture:percent} water); "
          "{aggregate_loose:volume} in the truck"),
    _item("odour", "material", "32 18 13", "Odour-control granules", "kg", "bag",
          "pet areas {pets:area} x {odour_rate:rate}"),
    _item("turf", "material", "32 18 13", "Synthetic turf", "m2", "",
          "cut plan: {pieces:count} pieces of {net:area} as cut, from {rolls:count} {sold_as} {width:length} wide, "
          "{length:length} in all"),
    _item("tape", "material", "32 18 13", "Seam tape", "m", "roll",
          "seams {seam:length}, of which {cross:length} across the pile and {shared:length} between areas"),
    _item("adhesive", "material", "32 18 13", "Seam adhesive", "m", "tube",
          "seams {seam:length}; a tube covers {adhesive_covers:length}"),
    _item("glue", "material", "32 18 13", "Turf adhesive, full spread", "m2", "pail",
          "glued areas {glued:area}; a pail covers {glue_covers:area}"),
    _item("nails", "material", "32 18 13", "Turf nails", "each", "box",
          "{perimeter_nails:count} along {fastened:length} of perimeter along the slope at {perimeter_spacing:depth} + "
          "{field_nails:count} in the field at {field_spacing:depth} both ways; {turf_nail}, {nails_per_kg:per_mass}, "
          "{nails_kg:mass}"),
    _item("seam_nails", "material", "32 18 13", "Seam nails", "each", "box",
          "seams {seam:length} at {seam_spacing:depth}, one more a run; {seam_nail}, {seam_nails_per_kg:per_mass}, "
          "{seam_nails_kg:mass}"),
    _item("fabric_nails", "material", "31 05 19", "Nails or staples of the fabric", "each", "box",
          "fabric under {fabric_laid:area} at {fabric_spacing:depth} both ways; {fabric_nail}, {fabric_nails_per_kg:per_mass}, "
          "{fabric_nails_kg:mass}"),
    _item("edging", "material", "32 94 13", "Edging board", "m", "board",
          "edges of kind {edging_on}: {edging:length} along the slope"),
    _item("stakes", "material", "32 94 13", "Edging stakes", "each", "stake",
          "edging {edging:length} at {stake_spacing:depth}, one more an area"),
    _item("infill", "material", "32 18 13", "Infill", "kg", "bag",
          "filled areas {filled:area} x {infill_rate:rate} (the pile weight takes {infill_low:rate} to {infill_high:rate}), "
          "{infill_depth:thickness} deep at {infill_density:density}"),
    _item("caps", "material", "32 84 00", "Irrigation heads capped", "each", "cap",
          "{caps_given:count} from the layer + {caps_assumed:count} at {caps_per_site:number} a site where none are given"),
    _item("reroutes", "service", "32 84 00", "Irrigation lines rerouted or kept for rinsing", "each", "line",
          "{reroutes:count} at {reroutes_per_site:number} a site"),
)  # fmt: skip

_GROUND = (
    _item("dig", "service", "31 23 16", "Excavation, in place", "m3", "",
          "ground {dug:area} x {dig_depth:depth}"),
    _item("haul", "service", "31 23 16", "Haul away", "each", "load",
          "{dig:volume} in place x {swell:factor} loose ({soil}) = {disposal:volume}; loads of {truck:volume}, "
          "rounded up site by site"),
    _item("disposal", "service", "31 23 16", "Disposal of spoil, loose", "m3", "",
          "{dig:volume} in place x {swell:factor} loose ({soil})"),
)  # fmt: skip


def _task(key: str, section: str, title: str, basis: str) -> Item:
    return _item(f"labour_{key}", "labour", section, title, "h", "crew-hour", basis, "labour")


_LABOUR = (
    _task("setup", "32 18 13", "Set up and clear away", "{sites:count} site(s) x {rate_setup:hours}"),
    _task("dig", "31 23 16", "Dig and load", "{dig:volume} / {rate_dig:volume_rate}"),
    _task(
        "base",
        "32 11 23",
        "Place and compact the base",
        "surface {base:area} x {lifts:count} lift(s) / {rate_base:area_rate}",
    ),
    _task("fabric", "31 05 19", "Lay fabric", "fabric {fabric_all:area} / {rate_fabric:area_rate}"),
    _task("turf", "32 18 13", "Lay, trim and fit turf", "surface {surface:area} / {rate_turf:area_rate}"),
    _task("seam", "32 18 13", "Join seams", "seams {seam:length} / {rate_seam:length_rate}"),
    _task("nail", "32 18 13", "Drive nails", "{all_nails:count} nails / {rate_nails:number} an hour"),
    _task("glue", "32 18 13", "Spread adhesive", "glued areas {glued:area} / {rate_glue:area_rate}"),
    _task("edging", "32 94 13", "Set edging", "edging {edging:length} / {rate_edging:length_rate}"),
    _task("infill", "32 18 13", "Spread infill and broom", "filled areas {filled:area} / {rate_infill:area_rate}"),
    _task("caps", "32 84 00", "Cap and reroute irrigation", "{all_caps:count} / {rate_caps:number} an hour"),
)


#: which task each machine runs with
RUNS_WITH = {"excavator": "dig", "compactor": "base", "broom": "infill", "spreader": "infill"}


def _machine(key: str, section: str, title: str) -> Item:
    task = RUNS_WITH[key]
    basis = f"{{labour_{task}:hours}} of crew time / {{hours_a_day:hours}} a day"
    return _item(key, "plant", section, title, "h", "day", basis)


_PLANT = (
    _machine("excavator", "31 23 16", "Excavator or skid steer"),
    _machine("compactor", "32 11 23", "Plate compactor"),
    _machine("broom", "32 18 13", "Power broom"),
    _machine("spreader", "32 18 13", "Infill spreader"),
)

#: every item, in the order a bid lists them
ITEMS: dict[str, Item] = {item.key: item for item in (*_GROUND, *_MATERIALS, *_LABOUR, *_PLANT)}

#: what leaves the bid together with an item
GOES_WITH: dict[str, tuple[str, ...]] = {
    "dig": ("haul", "disposal"),
    "fabric": ("fabric_nails",),
    "edging": ("stakes",),
}

#: what each task is done for; with the last of these the task leaves too, and its plant with it
DONE_FOR: dict[str, tuple[str, ...]] = {
    "labour_dig": ("dig",),
    "labour_base": ("aggregate",),
    "labour_fabric": ("fabric", "geotextile"),
    "labour_turf": ("turf",),
    "labour_seam": ("tape", "adhesive", "seam_nails"),
    "labour_nail": ("nails", "seam_nails"),
    "labour_glue": ("glue",),
    "labour_edging": ("edging",),
    "labour_infill": ("infill",),
    "labour_caps": ("caps", "reroutes"),
}


def task_of(key: str) -> str:
    """The task, as production rates name it, that an item's hours are reckoned by; "" of materials
    and services."""
    task = RUNS_WITH.get(key) or (key.removeprefix("labour_") if key.startswith("labour_") else "")
    return "nails" if task == "nail" else task


def together(keys: tuple[str, ...]) -> list[str]:
    """Items left out, and those that leave with them."""
    return [*keys, *(other for key in keys for other in GOES_WITH.get(key, ()))]


def idle(keys: tuple[str, ...]) -> list[str]:
    """Tasks that nothing is left to do for when items are left out."""
    return [task for task, items in DONE_FOR.items() if set(items) <= set(keys)]


def cannot_leave(keys: tuple[str, ...]) -> str:
    """Why items cannot be left out of any bid; "" where they can: no turf, or an item without its
    work or what holds it."""
    needed = DONE_FOR | {part: (whole,) for whole in ("fabric", "edging") for part in GOES_WITH[whole]}
    for key in keys:
        if key not in ITEMS:
            return f"'{key}' is no item; items are {', '.join(ITEMS)}"
        if key == "turf":
            return "'turf' is what a bid is for; take it off the list"
        left = [item for item in needed.get(key, ()) if item not in keys]
        if left:
            named = " and ".join(left)
            return f"'{key}' alone would leave {named} without it; leave out {named}, and it goes too, or take it off the list"
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
            return f"{text} a {unit[2:]}" if unit.startswith("1/") else f"{text} {unit}"
        if format_spec == "percent":
            return f"{100 * value:g} %"
        if format_spec in ("count", "number", "factor"):
            return f"{value:,.0f}" if format_spec == "count" else f"{value:g}"
        return str(value)


def shown(items: Any, system: str) -> Any:
    """A takeoff's ``items`` as a reader of ``system`` ("us" or "metric") sees them: net, net_low,
    net_high and order_size in ``unit``, now the shown one, and ``basis`` in its units (the column
    basis_metric is gone)."""
    unit = items["key"].map({key: getattr(item, system) for key, item in ITEMS.items()})
    factor = unit.map(lambda name: 1.0 if name == "each" else units.unit_factor(name)[0])
    measures = {name: items[name] / factor for name in ("net", "net_low", "net_high", "order_size")}
    basis = items["basis" if system == "us" else "basis_metric"]
    return items.assign(unit=unit, basis=basis, **measures).drop(columns="basis_metric")


def say(template: str, values: dict[str, Any], system: str) -> str:
    """``template`` with its ``values`` (SI) written in the units of ``system`` ("us" or
    "metric")."""
    return _Speech(system).format(template, **values)
