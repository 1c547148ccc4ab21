"""What the map shows, as plain data: the bid, its areas with their figures and colourings, and its
water."""

from __future__ import annotations

import re
from collections import Counter
from functools import cached_property
from typing import Any

import numpy as np
import pandas as pd
import shapely

from geoturf import __version__, ground, planner, tables
from geoturf import units as u
from geoturf.maps import colours, encode, figures, layers
from geoturf.maps.audience import OFFICE, Audience
from geoturf.maps.frame import tile_host
from geoturf.model import Result
from geoturf.staying import everywhere

SEVERITIES = ("error", "warning", "note")
_TOLD_APART = ("site", "area", "conversion", "chosen")  # columns of water.csv
MOST_FINDINGS = 400  # listed on the page; the rest are in findings.csv
NEAR_M = 0.3  # outlines of very many areas are drawn to within this
#: what is told of each of very many areas; areas.csv has it all
FEW = (
    "product",
    "phase",
    "ground_area",
    "surface_area",
    "turf_bought",
    "waste_pct",
    "cost",
    "price",
)


class Alike:
    """What all audiences see alike of a place, all areas of it, laid or not; worked out where it is
    first asked for."""

    def __init__(self, place: Result):
        self.place = place

    @cached_property
    def outlines(self) -> dict[str, Any]:
        """Borders and the place of the pile arrow."""
        area = self.place.ground.areas
        frames = self.place.ground.frames
        borders = area["geometry"].to_numpy()
        frame = area["frame"].to_numpy(dtype=int)
        if layers.very_many(self.place):
            borders = shapely.simplify(borders, NEAR_M)
        inner = ground.to_degrees(frames, frame, shapely.point_on_surface(borders))
        return {
            "borders": encode.polygons(ground.to_degrees(frames, frame, borders)),
            "inner": encode.ints(encode.deltas(encode.grid(shapely.get_coordinates(inner)))),
        }

    @cached_property
    def areas(self) -> pd.DataFrame:
        return tables.areas(self.place)

    @cached_property
    def sites(self) -> pd.DataFrame:
        return tables.sites(self.place)

    @cached_property
    def colourings(self) -> list[dict[str, Any]]:
        return colourings(self.place)

    @cached_property
    def edges(self) -> dict[str, Any]:
        return layers.edges(self.place)

    @cached_property
    def context(self) -> dict[str, Any]:
        return layers.context(self.place)


def islands(
    result: Result, audience: Audience = OFFICE, alike: Alike | None = None
) -> dict[str, Any]:
    """Island name -> its data: the figures of the bid, and all areas, laid or not."""
    alike = alike or Alike(everywhere(result))
    place = alike.place
    return {
        "geoturf-bid": bid(result, audience),
        "geoturf-areas": areas(place, audience, alike),
        "geoturf-pieces": layers.pieces(place, withheld=not audience.pieces),
        "geoturf-edges": alike.edges,
        "geoturf-context": alike.context,
        "geoturf-water": water(place) if audience.water else {},
    }


def bid(result: Result, audience: Audience = OFFICE) -> dict[str, Any]:
    """The bid's name, totals, findings and cautions, and the base map if there is one."""
    base = result.bid.base_map
    cautions = list(result.takeoff.cautions)
    of_water = result.water.cautions if result.water else ()
    cautions += [line for line in of_water if line not in cautions]
    totals = (*planner.facts(result), *tables.summary(result))
    notes = (audience.said(result.any_turf), _drawn_how(result))
    return {
        "name": result.bid.name,
        "title": f"{result.bid.name}: {audience.title}",
        "note": " ".join(part for part in notes if part),
        "version": __version__,
        "units": result.bid.units,
        "leftOut": int(result.source.left_out),
        "totals": [(word.strip(), _squared(text)) for word, text in audience.picked(totals)],
        **(_findings(result) if audience.findings else {}),
        "cautions": cautions,
        "baseMap": {"url": base, "credit": result.bid.base_map_credit} if tile_host(base) else None,
        "baseMapRefused": bool(base) and not tile_host(base),
    }


def _drawn_how(result: Result) -> str:
    """What a map of very many areas does not show."""
    if not layers.very_many(result):
        return ""
    near = "1 ft" if result.bid.units == "us" else f"{NEAR_M:g} m"
    where = "sites.csv, areas.csv and layout.gpkg have the rest"
    return f"Very many areas: outlines are drawn to within {near}, few figures are told; {where}."


def _findings(result: Result) -> dict[str, Any]:
    """How many there are of each severity, and the gravest in words."""
    findings = sorted(result.findings, key=lambda f: SEVERITIES.index(f.severity))
    told = [
        {
            "severity": finding.severity,
            "site": finding.site,
            "text": finding.line(),
        }
        for finding in findings[:MOST_FINDINGS]
    ]
    return {"counts": Counter(finding.severity for finding in findings), "findings": told}


def _squared(text: str) -> str:
    """``ft2`` as readers know it."""
    return re.sub(r" (ft|m)2$", r" \1²", text)


def areas(
    result: Result, audience: Audience = OFFICE, alike: Alike | None = None
) -> dict[str, Any]:
    """Borders, the place of the pile arrow, figures and colourings, areas-aligned."""
    alike = alike or Alike(result)
    area = result.ground.areas
    sites = audience.trimmed(alike.sites)
    untold = ("site", *(_but_few(sites) if layers.very_many(result) else ()))
    return {
        "count": len(area),
        "site": encode.words(area["site"]),
        "area": encode.ids(area["area"]),
        **alike.outlines,
        "figures": _figures(result, alike.areas, audience),
        "sites": figures.columns(sites, result.bid.currency, but=untold),
        "colourings": [c for c in alike.colourings if audience.shows(c["key"])],
    }


def _figures(result: Result, table: pd.DataFrame, audience: Audience) -> list[dict[str, Any]]:
    """The columns of areas.csv, and what each area costs and is priced at."""
    money = result.price.areas
    attrs = table.attrs
    table = table.assign(cost=money["cost"].to_numpy(), price=money["price"].to_numpy())
    table.attrs = attrs
    shown = audience.trimmed(table)
    untold = ("site", "area", *(_but_few(shown) if layers.very_many(result) else ()))
    return figures.columns(shown, result.bid.currency, but=untold)


def _but_few(table: pd.DataFrame) -> tuple[str, ...]:
    """The columns that are not told of each of very many areas."""
    return tuple(name for name in map(str, table) if not name.startswith(FEW))


def colourings(result: Result) -> list[dict[str, Any]]:
    """What the areas can be coloured by, the first one at the start."""
    area = result.ground.areas
    currency = result.bid.currency
    square, unit = (u.FT2_M2, "ft²") if result.bid.units == "us" else (1.0, "m²")
    waste = tables.waste_pct(result.plan.chosen["turf_bought_m2"], tables.under_turf_m2(result))
    out = [
        colours.by_words("product", "product", area["product"]),
        colours.by_words("phase", "phase", area["phase"]),
        colours.by_classes("waste", "waste", waste, "%"),
    ]
    price = result.price.areas["price"].to_numpy(dtype=float)
    per_area = price / area["ground_area_m2"].to_numpy(dtype=float) * square
    label = f"price per {unit}"
    per_unit = f"{currency}/{unit}"
    out.append(colours.by_classes("price", label, per_area, per_unit, digits=2))
    return [*_water_colourings(result), *out]


def _water_colourings(result: Result) -> list[dict[str, Any]]:
    """By what was chosen, and by water saved a year per currency of capital, of each area's best
    conversion."""
    if result.water is None:
        return []
    rows = result.water.table
    currency = result.bid.currency
    areas = range(len(result.ground.areas))
    volume, unit = (u.GALLON_M3, "gal") if result.bid.units == "us" else (u.LITRE_M3, "l")
    best = rows.groupby("area_index")["saved_m3_per_currency"].max().reindex(areas) / volume
    chosen = rows[rows["chosen"]].set_index("area_index")["title"].reindex(areas)
    kept = np.where(np.isin(areas, rows["area_index"]), "stays as it is", "not compared")
    titles = np.where(chosen.isna(), kept, chosen)
    label = f"water saved per {currency}"
    a_year = f"{unit} a year"
    return [
        colours.by_words("chosen", "what is chosen", titles),
        colours.by_classes("saving", label, best, a_year, digits=2, none="nothing to save"),
    ]


def water(result: Result) -> dict[str, Any]:
    """The conversions on offer, area by area: title and the columns of water.csv. Empty without a
    water comparison."""
    if result.water is None:
        return {}
    rows = result.water.table
    chosen_alone = layers.very_many(result)
    if chosen_alone:
        rows = rows[rows["chosen"].to_numpy(bool)]
    order = np.argsort(rows["area_index"].to_numpy(), kind="stable")
    table = tables.water(result, chosen_alone)
    decimals = table.attrs["decimals"]
    table = table.assign(why=rows["why"].to_numpy()).iloc[order]
    table.attrs["decimals"] = decimals
    return {
        "counts": encode.ints(np.bincount(rows["area_index"], minlength=len(result.ground.areas))),
        "title": encode.words(rows["title"].iloc[order]),
        "chosen": encode.ints(rows["chosen"].iloc[order]),
        "figures": figures.columns(table, result.bid.currency, but=_TOLD_APART),
    }
