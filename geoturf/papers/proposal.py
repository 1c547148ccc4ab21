"""client/proposal.pdf: what is offered, for how much, on what terms. It may leave the house: prices
only, and of the office's reckoning nothing."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date
from decimal import Decimal
from typing import Any

from geoturf import tables
from geoturf.by_plan import OF_NONE
from geoturf.model import Result
from geoturf.papers import drawing, sender
from geoturf.rules.items import ITEMS
from geoturf.units import FT2_M2, SYSTEMS, powers

_MOST_LOTS = 150  # priced in the paper itself; of more the table beside it tells
_MOST_PHASE_MAPS = 12
_MAP_PT = {"letter": (510.0, 560.0), "a4": (493.0, 600.0)}  # between margins, below a heading
_HALF_PT = {"letter": (510.0, 290.0), "a4": (493.0, 325.0)}  # two on a page
_UNCHOSEN = "Turf is priced on every area; which areas are to have it is still to be chosen."
_DATES = {
    "deliver_on": "turf delivered",
    "start": "start",
    "finish": "finish",
}
_SUPPLIED = ("service", "material")


def data(result: Result) -> dict[str, Any]:
    """What ``type/proposal.typ`` takes."""
    bid = result.bid
    terms = result.bid.terms
    return {
        **sender.head(bid),
        "title": f"Proposal: {bid.name}",
        "running": " · ".join(part for part in (bid.bidder.name, bid.name) if part),
        "name": bid.name,
        "valid": sender.day(terms.valid_until, bid.units),
        "price": _money(result, result.price.totals["price"]),
        "measured": _measured(result),
        "scope": _scope(result),
        "products": _products(result),
        "work": _work(result),
        "schedule": _schedule(result),
        "currency": bid.currency,
        "phases": _phases(result),
        "plans": _plans(result),
        "alternates": _alternates(result),
        "maps": _maps(result),
        "inclusions": [*terms.inclusions, *_included(result)],
        "exclusions": [*terms.exclusions, *_excluded(result)],
        "allowances": terms.allowances,
        "payment": terms.payment,
        "warranty": terms.warranty,
        "cautions": result.takeoff.cautions,
        "signatures": terms.signatures,
        **_lots(result),
    }


def _money(result: Result, amount: Decimal) -> str:
    return f"{amount:,.2f} {result.bid.currency}"


def _area(result: Result, m2: float) -> str:
    us = result.bid.units == "us"
    if us:
        return f"{m2 / FT2_M2:,.0f} ft²"
    return f"{m2:,.0f} m²"


def _counted(count: int, word: str) -> str:
    return f"{count:,} {word}{'' if count == 1 else 's'}"


def _scope(result: Result) -> str:
    """The whole work in a sentence."""
    land = result.ground.areas
    ground = _area(result, float(land["ground_area_m2"].sum()))
    sites = land["site"].nunique()
    whose = "1 property" if sites == 1 else f"{sites:,} properties"
    where = f"{_counted(len(land), 'area')} of {whose}"
    phases = land["phase"].nunique()
    parts = ""
    if phases > 1:
        parts = f", in {phases:,} phases"
    said = f"Synthetic turf, supplied and installed on {ground} of ground: {where}{parts}."
    unchosen = result.water is not None and not result.turf_is_chosen
    if unchosen:
        return f"{said} {_UNCHOSEN}"
    return said


def _measured(result: Result) -> str:
    """Why the schedule's areas are not those of the ground; "" where all of it is level."""
    land = result.ground.areas
    if not (land["surface_area_m2"] > land["ground_area_m2"]).any():
        return ""
    return "Areas of this schedule are of the surface, along the slope; ground is measured level."


def _products(result: Result) -> list[list[str]]:
    """A row a product that is laid: title, pile, ground."""
    land = result.ground.areas
    told = SYSTEMS[result.bid.units]
    sums = land.groupby("product", sort=False)["ground_area_m2"].sum()
    rows = []
    for name, ground_m2 in sums.items():
        turf = result.bid.products[str(name)]
        weight = told.like(turf.pile_weight_kg_per_m2, "60 oz/yd^2")
        pile = f"pile {told.like(turf.pile_height_m, '1 in')} high, {weight}"
        rows.append([powers(turf.title), powers(pile), _area(result, float(ground_m2))])
    return rows


def _work(result: Result) -> list[list[str]]:
    """A row a section of the work: its title, and what is supplied and done in it."""
    items = result.takeoff.items
    items = items[(items["scope_kind"] == "pool") & (items["net"] > 0)]
    keys = list(dict.fromkeys(items["key"]))
    titles = dict(
        zip(result.price.schedule["section"], result.price.schedule["title"], strict=True)
    )
    rows = []
    for section, title in titles.items():
        own = [ITEMS[key] for key in ITEMS if key in keys and ITEMS[key].section == section]
        done = [item.title for item in own if item.kind == "labour"]
        # what follows a comma says in which state it is measured
        supplied = [item.title.partition(",")[0] for item in own if item.kind in _SUPPLIED]
        own_words = [*supplied, *done, *_extras(result, section)]
        rows.append([title, "; ".join(_lower(word) for word in own_words)])
    return [[title, text + _depth(result, keys, title)] for title, text in rows]


def _lower(text: str) -> str:
    return text[:1].lower() + text[1:]


def _extras(result: Result, section: str) -> list[str]:
    return [one.title for one in result.bid.price.extras if one.section == section]


def _depth(result: Result, keys: list[str], title: str) -> str:
    """How deep it is dug and filled."""
    rules = result.bid.materials
    told = SYSTEMS[result.bid.units]
    own = [(one.dig_depth_m, one.base_depth_m) for one in result.bid.products.values()]
    if any(depth is not None for depths in own for depth in depths):
        return ""  # as deep as each turf's own
    if title == "Excavation" and "dig" in keys:
        return f", {told.like(rules.dig_depth_m, '4 in')} deep"
    if title == "Aggregate base courses" and "aggregate" in keys:
        return f", {told.like(rules.base_depth_m, '4 in')} thick"
    return ""


def _schedule(result: Result) -> list[list[str]]:
    """A row a pay item, and the sum."""
    rows = result.price.schedule_of_prices
    rows = rows[rows["scope"] == "bid"]
    columns = ("item", "description", "quantity", "unit", "unit_price")
    told = rows[list(columns)].assign(
        unit=rows["unit"].map(powers),
        quantity=[f"{quantity:,}" for quantity in rows["quantity"]],
        unit_price=[f"{price:,}" for price in rows["unit_price"]],
        extension=[f"{amount:,.2f}" for amount in rows["extension"]],
    )
    total = f"{result.price.totals['price']:,.2f}"
    return [*told.astype(str).to_numpy().tolist(), ["", "Price", "", "", "", total]]


def _phases(result: Result) -> dict[str, Any]:
    """A row a phase, with the dates that are agreed or else planned, and the sum; none for a bid of
    one phase without dates."""
    table = result.price.phases
    days = {str(name): _days(result, str(name)) for name in table["phase"]}
    known = [name for name in _DATES if any(one[name] for one in days.values())]
    if len(table) < 2 and not known:
        return {
            "heads": [],
            "rows": [],
            "planned": False,
        }
    land = result.ground.areas
    ground = land.groupby("phase", sort=False)["ground_area_m2"].sum()
    rows = []
    for name, sites, price in zip(table["phase"], table["sites"], table["price"], strict=True):
        area = _area(result, float(ground[name]))
        when = [days[str(name)][which] for which in known]
        rows.append([str(name), *when, f"{sites:,}", area, _money(result, price)])
    if len(rows) > 1:
        every = land["site"].nunique()
        total = result.price.totals["price"]
        area = _area(result, float(ground.sum()))
        rows.append(["All", *("" for _ in known), f"{every:,}", area, _money(result, total)])
    heads = ["phase", *(_DATES[name] for name in known), "properties", "ground", "price"]
    planned = any(_PLANNED in day for one in days.values() for day in one.values())
    return {
        "heads": heads,
        "rows": rows,
        "planned": planned,
    }


def _plans(result: Result) -> list[list[str]]:
    """A row a house plan, and the sum; none where no lot is of any."""
    rows = result.by_plan
    if rows is None:
        return []
    names = rows["plan"].replace("", OF_NONE)
    told = [
        [name, f"{lots:,}", _area(result, ground_m2), f"{each:,.2f}", f"{price:,.2f}"]
        for name, lots, ground_m2, each, price in zip(
            names,
            rows["lots"],
            rows["ground_area_m2"] / rows["lots"],
            rows["price_each"],
            rows["price"],
            strict=True,
        )
    ]
    total = f"{result.price.totals['price']:,.2f}"
    return [*told, ["All", f"{rows['lots'].sum():,}", "", "", total]]


_PLANNED = "*"  # after a day that is not agreed


def _days(result: Result, phase: str) -> dict[str, str]:
    """A phase's `_DATES`: as agreed; else as the calendar has them, which is said."""
    agreed = result.bid.dates.get(phase)
    planned = _planned(result, phase)
    units = result.bid.units
    out = {}
    for which in _DATES:
        own = sender.day(getattr(agreed, which, None), units)
        other = sender.day(planned.get(which), units)
        out[which] = own or (other and other + _PLANNED)
    return out


def _planned(result: Result, phase: str) -> dict[str, date]:
    """A phase's dates by the calendar, as far as it has any."""
    if result.calendar.first is None:
        return {}
    rows = result.calendar.rows
    tasks = rows[rows["phase"].astype(str).eq(phase)].dropna(subset=["start", "finish"])
    turf = tasks["task"].eq("delivery")
    out = dict.fromkeys(["deliver_on"] if turf.any() else [], tasks.loc[turf, "start"].min())
    if (~turf).any():
        out |= {
            "start": tasks.loc[~turf, "start"].min(),
            "finish": tasks.loc[~turf, "finish"].max(),
        }
    return out


def _alternates(result: Result) -> list[list[str]]:
    rows = result.price.alternates
    return [
        [title, *_added(result, difference)]
        for title, difference in zip(rows["alternate"], rows["difference"], strict=True)
    ]


def _added(result: Result, difference: Decimal) -> tuple[str, str]:
    if not difference:
        return "no change", ""
    return ("add" if difference > 0 else "deduct"), _money(result, abs(difference))


def _maps(result: Result) -> list[dict[str, Any]]:
    """The whole, and each phase where there are several and not very many."""
    drawn = drawing.land(result)
    page = result.bid.page
    units = result.bid.units
    phases = list(dict.fromkeys(drawn.phase.tolist()))
    title = "Where the areas lie"
    maps = [drawing.whole(drawn, *_MAP_PT[page], units) | {"title": title, "alt": title}]
    if 1 < len(phases) <= _MOST_PHASE_MAPS:
        for phase in phases:
            own = drawing.of_phase(drawn, phase, *_HALF_PT[page], units)
            own_name = drawing.called(phase)
            title = own_name[:1].upper() + own_name[1:]
            maps.append(own | {"title": title, "alt": f"Where the areas of {own_name} lie"})
    return maps


def _included(result: Result) -> Iterable[str]:
    """What the price holds that the work does not say."""
    if result.plan.estimate is not None:
        bought, sigma = tables.turf_sigma(result)
        yield (
            f"Turf of {_counted(len(result.plan.estimate.areas), 'area')}, estimated from their "
            "shapes and not "
            f"laid out; two times in three it is within {100 * sigma / bought:.1f} % of what is "
            "priced."
        )
    if result.price.totals.get("sales tax"):
        yield "Sales tax on materials."
    if result.price.totals.get("bond"):
        yield "The bond."


def _excluded(result: Result) -> Iterable[str]:
    """What a reader might look for and would not find."""
    for key in result.bid.materials.leave_out:
        yield f"{ITEMS[key].title}."
    left_out = result.source.left_out
    if left_out:
        yield f"{_counted(left_out, 'area')} of the drawings that could not be priced."


def _lots(result: Result) -> dict[str, Any]:
    """Each property's price, where they are not too many for a paper."""
    prices = result.price.sites
    if len(prices) < 2:
        return {"lots": [], "lots_elsewhere": ""}
    if len(prices) > _MOST_LOTS:
        said = f"The price of each of the {len(prices):,} properties stands in prices.csv."
        return {"lots": [], "lots_elsewhere": said}
    rows = zip(prices["site"].astype(str), prices["price"], strict=True)
    return {"lots": [[site, f"{price:,.2f}"] for site, price in rows], "lots_elsewhere": ""}
