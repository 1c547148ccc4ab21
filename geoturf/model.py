"""The nouns, in flow order. Everything here is frozen; stages take these and give these, and
nothing else is shared.

    Finding     something noticed, said to the user
    Source      what was read: layers in their own CRS
    Ground      areas and context in ground frames (metres, true scale)
    Edges       classified boundary runs
    Layout      one way to lay one area
    Choices     the layouts offered for one area, with its turf bound
    Estimate    what areas that are not laid are likely to take
    CutPlan     pieces on rolls, and what is estimated; pools with their bounds
    Takeoff     quantities by pool and by site
    Price       money
    Calendar    days
    Risk        how sure the price is
    Water       conversions
    Result      all of it

Lengths are metres, areas square metres, angles compass degrees, unless a name says otherwise.
Tables are pandas DataFrames with the columns written beside them; an *areas-aligned* table has one
row an area in `Ground.areas` order and the same RangeIndex.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from decimal import Decimal
from typing import TYPE_CHECKING, Any, Literal, NamedTuple

if TYPE_CHECKING:
    import geopandas
    import numpy as np
    import pandas as pd

Severity = Literal["error", "warning", "note"]
PIECES_OF = "pieces_of_"  # columns of `Estimate.areas`
ESTIMATED = "estimated"  # status of a pool that is not laid
#: columns of a table that name a feature, in the order in which `Finding` takes them
KEPT = "kept "  # before the name of a column of the input that the bid keeps
PLACE = ("file", "layer", "feature", "site", "area")


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing noticed. ``code`` is a short stable word (``self-crossing``); ``message`` says
    fault and mend."""

    severity: Severity
    code: str
    message: str
    file: str = ""
    layer: str = ""
    feature: str = ""
    site: str = ""
    area: str = ""

    def line(self) -> str:
        """One line for a terminal: severity, place in the data, message."""
        place = [self.file] if self.file else []
        place += [
            f"{word} {value}"
            for word, value in (
                ("layer", self.layer),
                ("feature", self.feature),
                ("site", self.site),
                ("area", self.area),
            )
            if value
        ]
        where = ", ".join(place)
        text = (
            f"{self.severity}: {where}: {self.message}"
            if where
            else f"{self.severity}: {self.message}"
        )
        return " ".join(text.split())


def kept_columns(table: pd.DataFrame) -> list[str]:
    """The columns of ``table`` that the bid keeps of the input, with `KEPT` before each."""
    return [name for name in map(str, table.columns) if name.startswith(KEPT)]


@dataclass(frozen=True)
class SourceLayer:
    """One layer as read and repaired, in its own CRS.

    ``table``: GeoDataFrame with the canonical columns that the file (or the bid's mapping) gave:
    always ``feature`` (str: its record in the file, see `geoturf.read.account`) and ``geometry``
    (valid Polygon or MultiPolygon for areal roles), and, for role ``turf`` or ``parcel``, ``site``,
    ``area``, ``phase``, ``product`` (str); optional ones stand when given (see
    `geoturf.read.COLUMNS`): ``pile_bearing_deg``, ``view``, ``slope_pct``, ``aspect_deg``,
    ``elevation_m``, ``use``, ``cover``, ``irrigation``, ``district``, ``caps``, ``model`` … with
    NaN / "" where a feature has none.
    """

    name: str
    role: str
    file: str
    layer: str
    sigma_m: float
    table: geopandas.GeoDataFrame
    correlation_m: float = 0.0  # how far errors of vertices go together; 0: each by itself


@dataclass(frozen=True)
class Source:
    layers: tuple[SourceLayer, ...]
    findings: tuple[Finding, ...]
    inputs: tuple[tuple[str, str], ...]  # (path as given, SHA-256)
    left_out: (
        int  # features not priced (all of a file, where they can be counted; else one for the file)
    )


@dataclass(frozen=True)
class Frames:
    """Ground frames, one a site: x east, y north, metres at ground level, origin in the site.

    Arrays all of shape (n,). ``geographics[geographic_id[k]]`` is the WKT of the geographic CRS
    that frame k's origin is in.
    ``shifts``: how old datums were left for WGS 84 (`geoturf.ground.geodetic.Shift`), by the WKT of
    their geographic CRS. Only `geoturf.ground` computes with these.
    """

    lon0_deg: np.ndarray
    lat0_deg: np.ndarray
    height_m: np.ndarray
    geographic_id: np.ndarray
    geographics: tuple[str, ...]
    shifts: dict[str, Any] = field(default_factory=dict)


@dataclass(frozen=True)
class Ground:
    """Areas and what lies around them, in ground frames.

    ``areas``: DataFrame, RangeIndex, one row an area, in stable order (input order). Columns: site,
      area, phase, product, use, view, cover, irrigation, district, model: str ("" where not given)
      plan: str, the house plan of its lot ("" where that is like no other); shape: int, row of the
      first area of the same shape (both of `geoturf.layout.house_plans`)
      file, layer, feature: str, where it came from frame: int, row in ``frames`` geometry: shapely
      Polygon or MultiPolygon in the frame (object column), horizontal, counter-clockwise shells
      laid: the geometry in the laying plane (= geometry, stretched along the fall line where the
      slope matters) pile_bearing_deg, slope_pct, aspect_deg, elevation_m, sigma_m, correlation_m:
      float (NaN where not given; the last
        two 0)
      plan_area_m2 (file's own grid; geodetic degrees give the ground area), ground_area_m2,
      surface_area_m2, area_tolerance_m2, perimeter_m: float caps: float, irrigation heads to cap
      (NaN where not given)
      `KEPT` + name: str, what the bid keeps of the input
      role: turf or parcel; yard: front, side or back of a split parcel, else
      "" laid_stretch: float, 1 or what the laying plane is drawn out by along laid_fall_deg (NaN
      where 1), from the centroid
        (`geoturf.plane.from_laid` goes back) dye_lot: str, only where a phase needs more of a
        product than a dye lot holds (`geoturf.cuts.parted`)
      estimated: bool, only where any is: its turf is estimated, not laid (`geoturf.layout.method`)
      view_turn_deg: float, only where the data tell views: how far each may lean from its view's
      bearing
    ``context``: DataFrame: role (building, paving, exclude, street, view, parcel), frame, geometry,
      file, layer (as the bid calls it), feature, part (0 ..); a part of a context feature stands
      once for each frame it comes near.
    ``taken``: DataFrame of what a parcel lost on the way to its areas: site, area, reason, area_m2
      (may be empty).
    ``source_crs``: WKT of the first turf (or parcel) layer's CRS, the one outputs are written in.
    ``overlaps``: DataFrame of what would be paid twice (`geoturf.ground.overlaps`): area_index,
      other_index, area_m2, same_m; None where not worked out.
    ``neighbours_across_frames``: DataFrame of areas placed in the other frames of a site over 10 km
      wide (see `geoturf.ground.across_frames`): area_index, frame, geometry; None where not worked
      out.
    """

    areas: pd.DataFrame
    context: pd.DataFrame
    taken: pd.DataFrame
    frames: Frames
    source_crs: str
    findings: tuple[Finding, ...] = ()
    overlaps: pd.DataFrame | None = None
    neighbours_across_frames: pd.DataFrame | None = None

    def pool_keys(self, pool: str) -> list[tuple[str, ...]]:
        """Which areas share rolls: for each area its phase and product, then its site where
        ``pool`` is "site", its site and id where it is "area", and its dye lot where lots are
        parted; areas of equal keys share."""
        apart = {
            "phase": [],
            "site": ["site"],
            "area": ["site", "area"],
        }[pool]
        apart += ["dye_lot"] if "dye_lot" in self.areas else []
        columns = (self.areas[name].astype(str) for name in ("phase", "product", *apart))
        return list(zip(*columns, strict=True))

    @property
    def laid(self) -> np.ndarray:
        """Rows of the areas that are laid, in order: all, where no turf is estimated."""
        rows = self.areas.index
        if "estimated" in self.areas:
            rows = rows[~self.areas["estimated"].to_numpy(bool)]
        laid: np.ndarray = rows.to_numpy()
        return laid

    def only(self, rows: np.ndarray) -> Ground:
        """The ground of the areas in ``rows`` (m,) alone, in that order, and what there is between
        them, counted anew; itself where these are all."""
        if len(rows) == len(self.areas):
            return self
        import numpy as np  # nouns are named long before there is a column

        new = np.full(len(self.areas), -1)
        new[rows] = np.arange(len(rows))
        return replace(
            self,
            areas=self.areas.iloc[rows].reset_index(drop=True),
            overlaps=_among(self.overlaps, ("area_index", "other_index"), new),
            neighbours_across_frames=_among(self.neighbours_across_frames, ("area_index",), new),
        )


def _among(
    table: pd.DataFrame | None, columns: tuple[str, ...], new: np.ndarray
) -> pd.DataFrame | None:
    """The rows whose areas, named in ``columns``, all have a ``new`` row, by it."""
    if table is None:
        return None
    moved = table.assign(**{name: new[table[name].to_numpy(int)] for name in columns})
    there = (moved[list(columns)] >= 0).all(axis=1)
    return moved[there].reset_index(drop=True)


@dataclass(frozen=True)
class Edges:
    """``runs``: DataFrame, one row a boundary run: area_index, kind (paving, building, shared,
    open, and of open ones fence, planter), neighbour (row of the other area, -1), closed (bool: a
    whole ring of one kind), length_m (on the map, true), laid_m (along the slope, as far as the
    laying plane is drawn out), fasteners (int; 0 along seams and where the product is glued),
    geometry (LineString in the area's frame).
    ``totals``: areas-aligned: edge_paving_m, edge_building_m, edge_shared_m, edge_open_m, and of
    open ones edge_planter_m, edge_fence_m (on the
    map), perimeter_fasteners, field_fasteners (int; 0 where the product is glued), fastened_m
    (perimeter along the slope that gets nails), edging_m (along the slope, of the kinds that get an
    edging board)."""

    runs: pd.DataFrame
    totals: pd.DataFrame
    findings: tuple[Finding, ...] = ()


@dataclass(frozen=True)
class Layout:
    """One way to lay one area. Pile coordinates (metres) at compass bearing β of the area's frame:
    u = x sin β + y cos β along the pile, v = x cos β - y sin β across it, to the right.

    ``pieces``: float array (n, 4): u0, u1, v0, v1, rectangles as laid (before trimming to the
      border, without allowances).
    ``seams``: float array (m, 3): v, u0, u1, stretches of seam under turf. ``cross``: float array
      (k, 3): u, v0, v1.
    ``cut``: float array (n, 2): length and width to cut, metres, allowances in, rounded up (spec
      4).
    ``width_m``: usable width of the roll it is laid for, ``roll_width_m`` the roll's own.
    ``seam_m``: all seams under turf, side and cross. ``at_corners``: how many cross seams, the
    first of ``cross``, lie at inner corners, to save turf. ``cost``: turf at the prices of a
    balanced pool, and seams; those at corners count `geoturf.rules.CROSS_WORTH` times. ``odd``:
    strips narrower than the roll, counted once where seam lies along most of both sides, and once
    for each other such strip that lies along it.
    """

    bearing_deg: float
    pieces: np.ndarray
    seams: np.ndarray
    cross: np.ndarray
    cut: np.ndarray
    width_m: float
    roll_width_m: float
    seam_m: float
    cost: float  # in m2 of the product's first turf
    at_corners: int = 0
    odd: int = 0

    @property
    def corner_m(self) -> float:
        """Length of the cross seams at inner corners."""
        mine = self.cross[: self.at_corners]
        return float((mine[:, 2] - mine[:, 1]).sum())


def saved_m2(layout: Layout, offered: Sequence[Layout]) -> float:
    """What a layout with cross seams at inner corners costs less than the best of those ``offered``
    without; infinite where there is none without, or none in the layout. They are charged as often
    as they are to save what they cost: where this is more than 0, they do."""
    whole = [one.cost for one in offered if not one.at_corners]
    if whole and layout.at_corners:
        return min(whole) - layout.cost
    return float("inf")


@dataclass(frozen=True)
class Choices:
    """Layouts offered for one area, best first.

    ``by_hand``: the layouts an estimator would draw by hand (full strips along the longest edge, or
      across it).
    ``free_cost``: best cost with the bearing free (NaN where not searched): what a fixed bearing
      costs is the difference.
    ``same_as``: row of the area this one repeats (moved, turned or mirrored), -1 otherwise.
    ``alike``: row of the first area of its pool that is laid as this one is, whichever of the
      layouts it takes (row k of one is row k of the other); -1 where it is laid by itself.
      ``alike_cost``: its part of what that costs over each taking what serves its pool best of the
      same layouts, at the most.
    ``wide``: layouts in full strips, for slanted ends (none where all is cut square).
    """

    layouts: tuple[Layout, ...]
    by_hand: tuple[Layout, ...]
    free_cost: float
    same_as: int = -1
    alike: int = -1
    alike_cost: float = 0.0  # in m2 of the product's first turf
    wide: tuple[Layout, ...] = ()


@dataclass(frozen=True)
class Estimate:
    """What areas that are not laid are likely to take: figures told from their shapes, none of
    them a layout.

    ``areas``: DataFrame, a row an area: area_index, width_m (of the roll), turf_m2 (what a large
      pool buys for it), rest_m2 (turf beside its narrow pieces), narrow (how many these are), sigma
      (one standard deviation of turf_m2 for an area by itself, as a part of it), bound_m2 (no
      layout buys less), seam_m (cross seams included), cross_m (these alone), seams (stretches
      along the pile), cross_seams; the counts are means, no whole numbers. Where whole rolls are
      sold, `PIECES_OF` + 0, 1 …: how many pieces of full width there are, by their part of a roll.
    ``bought``: DataFrame, a row a pool and roll width, filled in by `geoturf.cuts.estimated`: pool,
      phase, product, dye_lot, site ("" where several share), width_m, length_m (of a roll), rolls,
      total_m (length bought), net_m2 (cut from it).
    """

    areas: pd.DataFrame
    bought: pd.DataFrame | None = None


@dataclass(frozen=True)
class CutPlan:
    """``pieces``: DataFrame: piece (id), area_index, strip geometry u0 u1 v0 v1 bearing_deg (as
    laid), roll (id), along_m,
      across_m (near corner on the roll), length_m, width_m (as cut; along_m and length_m along the
      left edge), start_slant_m, end_slant_m (how much further its start and end lines lie along at
      the right edge; 0 where cut square), cut_u_m (where the start line of a slanted piece meets
      v0, allowance in; NaN where cut square).
    ``rolls``: DataFrame: roll (id), phase, product, pool, width_m, length_m (bought), used_m,
      pieces, left_over_m, pattern, source (bought, or stock: a left-over at hand, width_m what is
      used of its width at most).
    ``pools``: DataFrame: pool, phase, product, pieces, rolls, bought_m2, needed_m2, bound_m2 (least
      that any layout buys), strip_bound_m2 (least that any layout in strips from border to border
      buys), cut_bound_m2 (least for these pieces),
      by_hand_m2, status, square_m2 (what square cuts would buy; bought_m2 where nothing slants),
      stock_m2 (most turf that left-overs at hand, as pools before left them, stand for; both bounds
      allow for it), sigma_m2 (one standard deviation of bought_m2: 0 where it is laid). Areas that
      are estimated are pools of their own, of status `ESTIMATED`, without pieces.
    ``stock``: DataFrame: left-overs worth keeping: roll, phase, product, width_m, length_m,
      along_m, across_m.
    ``chosen``: areas-aligned: pile_bearing_deg, seam_m, cross_seams, pieces, piece_area_m2,
      turf_bought_m2 (the area's share of what is bought, by piece area), free_cost_ratio (cost of
      the bearing over the free one, 1 where free), sigma_m2 (one standard deviation of
      turf_bought_m2; 0 where laid). Of estimated areas: no bearing (NaN), no pieces, seams as told.
    ``seams``: DataFrame: area_index, kind (seam, cross), u0, v0, u1, v1, bearing_deg, length_m.
    ``lots``: DataFrame, one row a site in the order of work: site, phase, pieces, drawn, shared,
      opened, finished, open, most (rolls, see `geoturf.cuts.work.standing`).
    ``trade``: DataFrame, cutting on site only: what each number of open rolls comes to: open_rolls
      (0: any number), most, rolls, bought_m2, money (turf and seams), drawn_median, drawn_most.
    ``estimate``: what areas that are not laid take; None where all are laid.
    """

    pieces: pd.DataFrame
    rolls: pd.DataFrame
    pools: pd.DataFrame
    stock: pd.DataFrame
    chosen: pd.DataFrame
    seams: pd.DataFrame
    findings: tuple[Finding, ...] = ()
    lots: pd.DataFrame | None = None
    trade: pd.DataFrame | None = None
    estimate: Estimate | None = None


@dataclass(frozen=True)
class Takeoff:
    """``items``: DataFrame, one row an item in a scope: scope ("phase …", "site …" or "bid"),
    scope_kind (pool, site, bid), phase, site, key (of `geoturf.rules.items.ITEMS`), section, item,
    net (float, in ``unit``), unit (SI: m2, m3, m, kg, h, each), allowance (fraction), order (int,
    purchase units), order_unit, order_size (float, ``unit`` a purchase unit), order_by_site (what
    rounding up site by site would order; turf: what the sites' own cut plans buy, by area, in this
    row's unit, beside the first row of a phase's product), net_low, net_high (infill; else NaN),
    product, width_m (turf; else "", NaN), price_key, basis (the formula in words, with its numbers,
    in US units), basis_metric (the same in metric units). Rows of kind ``site`` are the same items
    rounded up lot by lot, for comparison, and turf as each site's own cut plan has it; only
    ``pool`` rows are priced.
    ``areas``: areas-aligned net quantities, a column an item key (SI), seam_fasteners, and what
      their formulas name. ``counts``: by phase (index), what extras are counted by: sites,
      surface_m2, loads, rolls, crew_h, crew_days, freight_kg, trucks."""

    items: pd.DataFrame
    areas: pd.DataFrame
    findings: tuple[Finding, ...] = ()
    cautions: tuple[str, ...] = ()
    counts: pd.DataFrame | None = None


@dataclass(frozen=True)
class Price:
    """``lines``: DataFrame of the price lines: line, section, phase, key, kind (material, labour,
    plant, service, general), product, description, quantity, unit, unit_price, amount (Decimal),
    row (of ``Takeoff.items``, -1 for general lines), per_order (quantity a purchase unit of that
    row), share (the column of ``borne`` by which the areas of its phase bear it; "" for general
    lines), book (the price book it is priced by, "" for the bid's own); amounts add up to the
    price.
    ``borne``: areas-aligned net quantities (SI), a column a share. ``loads``: one row a line of the
    work: amount, its part of each step of the build-up, cost, price (Decimal; adds up along the row
    and down).
    ``sites``: site, cost, price (Decimal; adds up to the totals to the cent). ``areas``:
      areas-aligned cost, price (Decimal).
    ``totals``: build-up, name -> Decimal, in order; the last is ``price``. ``build_up``: step,
      base, rate, amount, subtotal, scale, kinds (see `geoturf.price.build_up.as_table`),
      book (a block a price book).
    ``schedule``: schedule of values: phase, section, title, amount, each step of the build-up,
      price; adds up down and across.
    ``schedule_of_prices``: scope (bid, phase …, product …, use …, yard …), item (number of the pay
      item; "" for what unit prices cannot carry), section, description, unit, quantity (Decimal,
      measured on the ground), unit_price (Decimal, all loads in), extension (Decimal); each scope
      adds up to the price of its areas.
    ``phases``: phase, sites, areas, surface_area_m2, cost, price, price_per_ft2, price_per_m2.
    ``alternates``: alternate, price, difference, each of a run of its own. ``changes``: what each
    adds or deducts: alternate, scope (bid, phase …, site …), line ("": all of the scope), change
    (add, deduct, none), unit, quantity and quantity_change (text), price, difference.
    ``lot_by_lot``: the price of the run in which every site is a pool of its own. Empty and None
    until those are run."""

    lines: pd.DataFrame
    sites: pd.DataFrame
    totals: dict[str, Decimal]
    schedule: pd.DataFrame
    areas: pd.DataFrame
    build_up: pd.DataFrame
    phases: pd.DataFrame
    alternates: pd.DataFrame
    borne: pd.DataFrame
    loads: pd.DataFrame
    schedule_of_prices: pd.DataFrame
    changes: pd.DataFrame | None = None
    lot_by_lot: Decimal | None = None
    findings: tuple[Finding, ...] = ()


@dataclass(frozen=True)
class Calendar:
    """``rows``: DataFrame, a task of a phase, in the order of the work: phase, task, description,
    crew, start_day, finish_day (numbers of working days, from 1), start, finish (dates; None where
    no start is known), crew_days, crew_hours; the turf's delivery among them (task ``delivery``, no
    crew). ``crews``: crew, crews (how many of it), crew_hours, busy (part of the time between its
    first hour and its last that it works), days_sooner (by which all is done with one more of it),
    finish (then). ``begun``: phase, site, task, day, date: when each task of a lot that takes time
    is begun. ``days``: number of the last day. ``first``: date of day 1."""

    rows: pd.DataFrame
    crews: pd.DataFrame
    days: int
    first: date | None
    begun: pd.DataFrame
    findings: tuple[Finding, ...] = ()

    @property
    def planned(self) -> list[PlannedPhase]:
        """When each phase is worked, phases as they come: from its first task to its last,
        deliveries apart."""
        work = self.rows[self.rows["task"] != "delivery"]
        found = []
        for phase, tasks in work.groupby("phase", sort=False):
            starts = tasks["start"].dropna().tolist()
            finishes = tasks["finish"].dropna().tolist()
            days = int(tasks["start_day"].min()), int(tasks["finish_day"].max())
            dated = (min(starts), max(finishes)) if starts else (None, None)
            found.append(PlannedPhase(str(phase), *days, *dated))
        return found


class PlannedPhase(NamedTuple):
    """Days that a phase is worked, the first and the last (numbers of working days; dates where a
    start is known)."""

    phase: str
    start_day: int
    finish_day: int
    start: date | None
    finish: date | None


class CalendarTask(NamedTuple):
    """What is told of a row of `Calendar.rows`."""

    phase: str
    description: str
    crew: str
    start_day: int
    finish_day: int
    start: date | None
    finish: date | None
    crew_days: float
    crew_hours: float


@dataclass(frozen=True)
class Risk:
    """How sure a price is, money as floats.

    ``percentiles``: percentile (fraction of the draws that stays within it), cost (before
      contingency), price, contingency (that would carry that cost), contingency_part (of direct
      cost and waste).
    ``moves``: a figure with a range, that which moves the price most first: table, figure, low,
      likely, high, unit (of rates in SI: m2/h, m3/h, m/h, h; money in its own),
      price_low and price_high (the price with it alone at either
      end), rank_correlation (Spearman's, with the price), share (of the squares of all).
    ``covered``: fraction of the draws whose cost the bid's own contingency carries. ``survey``: one
    sigma of the price from the survey's accuracy, as a fraction. ``confidence``: the percentile
    that the bid asks for."""

    percentiles: pd.DataFrame
    moves: pd.DataFrame
    covered: float
    survey: float
    confidence: float


class RiskPercentile(NamedTuple):
    """A row of `Risk.percentiles`."""

    percentile: float
    cost: float
    price: float
    contingency: float
    contingency_part: float


class RiskMove(NamedTuple):
    """What is told of a row of `Risk.moves`."""

    table: str
    figure: str
    price_low: float
    price_high: float
    rank_correlation: float
    share: float


@dataclass(frozen=True)
class Water:
    """What conversions save, and the choice for a budget. Volumes are m3 a year, money floats in
    the bid's currency.

    ``table``: one row an area and conversion on offer to it: area_index (row in ``Ground.areas``),
      site, area, district, cover, irrigation, conversion, title, ground_area_m2, baseline_m3,
      use_m3, saved_m3, capital, rebate, bill_saved and upkeep_saved (a year at today's prices),
      payback_years (simple; inf: never), npv, cost_per_m3 (nan: saves nothing),
      saved_m3_per_currency (per capital; nan where it costs nothing), chosen (bool), rank (1 … of
      the chosen, 0 for others), why (str).
    ``monthly``: month, name, eto_m, rain_m, baseline_m3, after_m3, saved_m3 (month's volumes of all
      areas compared).
    ``curve``: budget, spent, saved_m3, npv, areas, value, bound, gap, cut_off.
    ``worksheet``: a hydrozone of a site before (plan "existing") and after ("chosen"): plan, site,
      hydrozone, landscape, cover, irrigation, special, plant_factor, efficiency, etaf, area_m2,
      etaf_area_m2, etwu_m3, use_m3 (as in ``table``).
    ``compliance``: a plan and site: landscape, landscape_m2, special_m2, etaf, mawa_m3, etwu_m3,
      use_m3, margin_m3, mean_etaf, complies (None where no ordinance holds), peak_m3,
      peak_allowance_m3 (of the month of most ETo).
    ``differences``: a plan: from the ordinance's estimate, step by step, to the use of ``table``.
    ``sensitivity``: input, end, factor, baseline_m3, saved_m3, bill_saved, npv, best_saved_m3,
      best_npv, areas_changed, ground_changed (fraction), swing, npv_swing; the input that moves the
      choice most first.
    ``scenarios``: case (low, middle, high) and the same outcome columns.
    ``profile``: site, check, unit, limit, found, result (pass, fail, not known).
    ``summary``: answers: objective, budget, currency, climate, baseline_m3, chosen and doubled
      (totals; doubled also says which areas join, leave, change), first (the ten first rows),
      conversions, most_sensitive, rebates …; see `geoturf.water.story`.
    """

    table: pd.DataFrame
    monthly: pd.DataFrame
    curve: pd.DataFrame
    worksheet: pd.DataFrame
    sensitivity: pd.DataFrame
    scenarios: pd.DataFrame
    compliance: pd.DataFrame
    profile: pd.DataFrame
    differences: pd.DataFrame
    summary: dict[str, Any] = field(default_factory=dict)
    findings: tuple[Finding, ...] = ()
    cautions: tuple[str, ...] = ()


@dataclass(frozen=True)
class Staying:
    """Where turf is laid on some areas only, since a comparison of water chose others to stay or to
    become something else: ``ground``, all areas; ``rows``, int (m,), the row in it of each of the m
    areas laid; ``price_on_all``: what turf on every area is estimated to cost, None where nobody
    asked."""

    ground: Ground
    rows: np.ndarray
    price_on_all: Decimal | None


@dataclass(frozen=True)
class Result:
    """A finished run; `geoturf.write` writes its report folder, whole or not at all. ``ground``:
    the areas that turf is laid on; those that stay beside them are in ``staying``
    (`geoturf.staying.everywhere`), whose rows `Water.table` counts."""

    bid: Any
    source: Source
    ground: Ground
    edges: Edges
    choices: tuple[Choices, ...]
    plan: CutPlan
    takeoff: Takeoff
    price: Price
    calendar: Calendar
    water: Water | None
    findings: tuple[Finding, ...]
    seconds: dict[str, float]
    risk: Risk | None = None  # where the bid gives ranges
    staying: Staying | None = None  # where turf is not laid on all areas
    by_plan: pd.DataFrame | None = None  # `geoturf.by_plan.COLUMNS`, where lots are of house plans
    each: bool = True  # whether there is a takeoff of each site

    @property
    def any_turf(self) -> bool:
        """Whether turf is laid and priced on any area."""
        return len(self.ground.areas) > 0

    @property
    def turf_is_chosen(self) -> bool:
        """Whether turf is laid where a comparison of water chose it."""
        rules = self.bid.water
        return self.water is not None and (rules is None or rules.lay == "chosen")

    @property
    def all_ground(self) -> Ground:
        """All areas, laid or not."""
        if self.staying is None:
            return self.ground
        return self.staying.ground
