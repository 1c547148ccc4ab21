"""Areas -> boundary runs, told apart by what lies on the other side, and their fasteners.

Spec: each stretch is ``shared`` (another area of the same site and product: a seam), ``building``,
``paving`` or ``open``, the first that holds; of open ones, those along a ``fence`` or a ``planter``
are told apart, for their edging. How a contact is found: `geoturf.edges.contact`; what
counts as one: `geoturf.edges.runs.settle`. All areas of all frames are done at once, as columns.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import shapely

from geoturf import plane
from geoturf.edges import contact, runs
from geoturf.edges.borders import Borders, Places, borders, places
from geoturf.errors import PromiseError
from geoturf.model import Edges, Finding, Ground
from geoturf.rules import EdgeRules, Product
from geoturf.threads import each
from geoturf.units import whole_steps

__all__ = ["classify"]

_SLAB = 100_000  # vertices worked on at a time
_ASKED = ("geometry", "frame", "site", "product")  # of an area, to tell whose neighbour it is
_AREAL = (3, 6)  # shapely's numbers of Polygon and MultiPolygon
_WHERE = ("geometry", "frame")
_TOLD_KINDS = ("paving", "building", "shared", "open")  # in the order of the totals' columns
#: what tells an edge, in the order that the later overrules; edges along the first two count as
#: open
_THINGS = ("planter", "fence", "paving", "building")
_OPEN = ("open", "planter", "fence")
_POST_M = 0.02  # half of what a fence or border that is drawn as a line is taken to be wide
_SUM_M = 1e-3  # the four lengths add up to the perimeter this closely


def classify(ground: Ground, products: dict[str, Product], rules: EdgeRules) -> Edges:
    """Boundary runs and fasteners of every area (holes included).

    ``runs`` is ordered by area and ring; ``length_m`` is true at the area's own elevation, as its
    perimeter is (its site's frame is at the mean elevation); ``laid_m`` is its length along the
    slope, which is what is fastened. ``totals`` has the columns of `geoturf.model.Edges`. Counts: a
    closed run has ``ceil(length / spacing)`` fasteners, an open-ended one the same and one more,
    the field ``ceil(surface area / spacing^2)``; glued products have none (common practice, spec
    3)."""
    areas = ground.areas
    context = _built(ground.context)
    across = _across_frames(areas, ground.neighbours_across_frames)
    found = each(
        lambda rows: _runs(areas.iloc[rows], across, context, rows, rules.tolerance_m),
        _slabs(areas),
    )
    table = pd.concat(found).sort_values("area_index", kind="stable", ignore_index=True)
    owner = table["area_index"].to_numpy()
    table["length_m"] *= _true(areas)[owner]
    up = plane.slope_lengths(areas, owner, _shapes(table))
    table["laid_m"] = table["length_m"] * up
    table["fasteners"] = _fasteners(areas, table, products, rules)
    return Edges(table, _totals(areas, table, products, rules), _findings(table, context, rules))


def _shapes(table: pd.DataFrame) -> np.ndarray:
    """Column ``geometry``: (n,) objects."""
    return table["geometry"].to_numpy(dtype=object)


def _slabs(areas: pd.DataFrame) -> list[np.ndarray]:
    """Rows of areas in slabs of whole frames, some `_SLAB` vertices each, so that a large bid takes
    no more memory at a time than a small one. At least one, if empty."""
    frame = areas["frame"].to_numpy(np.int64)
    vertices = np.bincount(frame, shapely.get_num_coordinates(_shapes(areas)))
    before = np.cumsum(vertices) - vertices
    slab = (before // _SLAB)[frame]
    slabs = [np.flatnonzero(slab == number) for number in np.unique(slab)]
    return slabs or [np.arange(0)]


def _across_frames(areas: pd.DataFrame, across: pd.DataFrame | None) -> pd.DataFrame:
    """Areas as they stand in other frames than their own: area_index and what `_beside` asks of an
    area."""
    if across is None:
        none = np.empty(0, np.int64)
        across = pd.DataFrame(
            {
                "area_index": none,
                "frame": none,
                "geometry": [],
            }
        )
    own = areas[["site", "product"]].iloc[across["area_index"]].reset_index(drop=True)
    return pd.concat([across, own], axis=1)


def _runs(
    areas: pd.DataFrame,
    across: pd.DataFrame,
    context: pd.DataFrame,
    rows: np.ndarray,
    tolerance_m: float,
) -> pd.DataFrame:
    """The runs of some areas; ``rows`` are their rows in the bid. No other area is in their frames,
    but for neighbours ``across`` frames."""
    context = context[context["frame"].isin(areas["frame"])]
    across = across[across["frame"].isin(areas["frame"])]
    everyone = areas
    if len(across):
        everyone = pd.concat([areas[list(_ASKED)], across[list(_ASKED)]])
    place = places(pd.concat([everyone[[*_WHERE]], context[[*_WHERE]]]))
    theirs = borders(everyone, place, tolerance_m)
    mine = theirs
    if len(across):
        mine = theirs.where(theirs.owner < len(areas))

    beside = _beside(everyone, mine, theirs, place, tolerance_m)
    things = {role: context[context["role"] == role] for role in _THINGS}
    along = {}
    for role, table in things.items():
        sides = borders(table, place, 0.0)
        along[role] = contact.strips(mine, sides, tolerance_m, _any)
    cuts = contact.cut(mine, [beside, *along.values()])

    kind = np.full(len(cuts.segment), runs.KINDS.index("open"))
    for role, table in things.items():  # the later overrules
        within = contact.inside(mine, cuts, table, place, tolerance_m)
        touched = _touched(mine, cuts, along[role], within, tolerance_m)
        kind[touched] = runs.KINDS.index(role)
    nowhere = np.zeros(len(kind), dtype=bool)
    shared = _touched(mine, cuts, beside, nowhere, tolerance_m)
    kind[shared] = runs.KINDS.index("shared")
    neighbour = np.where(shared, _neighbours(mine, cuts, beside), -1)

    found = runs.runs_of(mine, cuts, kind, neighbour)
    who = np.concatenate([rows, across["area_index"].to_numpy(np.int64)])
    found["area_index"] = rows[found["area_index"]]
    found["neighbour"] = np.where(found["neighbour"] < 0, -1, who[found["neighbour"]])
    return found


def _built(context: pd.DataFrame) -> pd.DataFrame:
    """The context that tells edges, as polygons; lines of fences and planters as narrow ones."""
    if not len(context):
        frame = np.empty(0, np.int64)
        geometry = np.empty(0, object)
        return pd.DataFrame(
            {
                "role": [],
                "frame": frame,
                "geometry": geometry,
            }
        )
    shapes = _shapes(context)
    light = context["role"].isin(_OPEN).to_numpy()
    lines = light & (shapely.get_dimensions(shapes) == 1)
    if lines.any():
        shapes = shapes.copy()
        shapes[lines] = shapely.buffer(shapes[lines], _POST_M, cap_style="flat")
        context = context.assign(geometry=shapes)
    areal = np.isin(shapely.get_type_id(shapes), _AREAL)
    return context[areal & context["role"].isin(_THINGS).to_numpy()]


def _any(segment: np.ndarray, other: np.ndarray) -> np.ndarray:
    """All pairs are wanted."""
    return np.ones(len(segment), dtype=bool)


def _beside(
    areas: pd.DataFrame, mine: Borders, theirs: Borders, place: Places, tolerance_m: float
) -> contact.Strips:
    """Where borders of other areas (``theirs``) of the same site and product face a border of
    ``mine``; ``other`` is the other area's row.

    Of areas that are drawn twice only the first is looked at from others: they would all say the
    same."""
    same = areas.groupby(["frame", "site", "product"], sort=False, dropna=False)
    group = same.ngroup().to_numpy()
    drawn = pd.DataFrame({"group": group, "shape": shapely.to_wkb(_shapes(areas))})
    first = ~drawn.duplicated().to_numpy()
    near = _near_another(areas, group, first, place, tolerance_m)
    rows = np.flatnonzero(near[mine.owner])
    own = mine.where(rows)
    others = theirs.where((near & first)[theirs.owner])

    def wanted(i: np.ndarray, j: np.ndarray) -> np.ndarray:
        one = own.owner[i]
        two = others.owner[j]
        facing = np.einsum("ij,ij->i", own.along[i], others.along[j]) < 0
        neighbours: np.ndarray = (one != two) & (group[one] == group[two]) & facing
        return neighbours

    found = contact.strips(own, others, tolerance_m, wanted)
    return replace(found, segment=rows[found.segment], other=others.owner[found.other])


def _near_another(
    areas: pd.DataFrame, group: np.ndarray, first: np.ndarray, place: Places, tolerance_m: float
) -> np.ndarray:
    """Which areas come near another one, of those that are drawn ``first``, of their group;
    bool."""
    frame = areas["frame"].to_numpy(np.int64)
    box = place.boxes(shapely.bounds(_shapes(areas)), frame, tolerance_m)
    one, two = contact.pairs(box, box[first])
    two = np.flatnonzero(first)[two]
    beside = (one != two) & (group[one] == group[two])
    near = np.zeros(len(areas), dtype=bool)
    near[one[beside]] = True
    return near


def _touched(
    mine: Borders,
    cuts: contact.Stretches,
    found: contact.Strips,
    within: np.ndarray,
    tolerance_m: float,
) -> np.ndarray:
    """Which stretches are in touch with what ``found`` and ``within`` tell of; bool."""
    touching = cuts.covered(found.where(found.facing)) | within
    sure = cuts.covered(found.where(found.facing & found.along))
    return runs.settle(touching, sure, cuts.length, mine.ring[cuts.segment], tolerance_m)


def _neighbours(mine: Borders, cuts: contact.Stretches, beside: contact.Strips) -> np.ndarray:
    """The area beside each stretch: the nearest, then the first; a closed gap goes with the stretch
    before it. -1 on rings without any."""
    first, end = cuts.spans(beside)
    count = end - first
    strip = np.repeat(np.arange(len(first)), count)
    before = np.cumsum(count) - count
    stretch = first[strip] + np.arange(len(strip)) - before[strip]
    away = np.round(np.abs(beside.offset[strip]), 6)
    order = np.lexsort([beside.other[strip], away, stretch])
    stretch, nearest = np.unique(stretch[order], return_index=True)
    neighbour = np.full(len(cuts.segment), -1)
    neighbour[stretch] = beside.other[strip[order[nearest]]]
    return runs.carry_on(neighbour, mine.ring[cuts.segment])


def _true(areas: pd.DataFrame) -> np.ndarray:
    """True length over length in the frame, of each area."""
    ratio: np.ndarray = areas["perimeter_m"].to_numpy(float) / shapely.length(_shapes(areas))
    return ratio


def _nailed(areas: pd.DataFrame, products: dict[str, Product]) -> np.ndarray:
    """Whether each area's turf is nailed, not glued; bool."""
    return np.array([products[name].fixing == "nail" for name in areas["product"]], dtype=bool)


def _fasteners(
    areas: pd.DataFrame, table: pd.DataFrame, products: dict[str, Product], rules: EdgeRules
) -> np.ndarray:
    """Nails of each run; none where the next area's turf is joined by a seam."""
    nailed = _nailed(areas, products)[table["area_index"].to_numpy()]
    fastened = (table["kind"] != "shared").to_numpy() & nailed
    open_ended = ~table["closed"].to_numpy(bool)
    steps = whole_steps(table["laid_m"], rules.perimeter_spacing_m).astype(np.int64)
    count: np.ndarray = (steps + open_ended) * fastened
    return count


def _totals(
    areas: pd.DataFrame, table: pd.DataFrame, products: dict[str, Product], rules: EdgeRules
) -> pd.DataFrame:
    """Lengths by kind and fasteners, one row an area."""
    owner = table["area_index"].to_numpy()
    kind = table["kind"].to_numpy()

    def by_area(values: np.ndarray) -> np.ndarray:
        return np.bincount(owner, values, minlength=len(areas))

    length_m = table["length_m"].to_numpy(float)
    told = np.where(np.isin(kind, _OPEN), "open", kind)
    sums = {f"edge_{one}_m": by_area(length_m * (told == one)) for one in _TOLD_KINDS}
    of_open = {f"edge_{one}_m": by_area(length_m * (kind == one)) for one in _OPEN[1:]}
    off = np.abs(sum(sums.values()) - areas["perimeter_m"].to_numpy(float))
    if (off > _SUM_M).any():
        raise PromiseError(_short_sum(areas, off))

    nailed = _nailed(areas, products)
    fastened = (kind != "shared") & nailed[owner]
    laid_m = table["laid_m"].to_numpy(float)
    surface_m2 = areas["surface_area_m2"].to_numpy(float)
    field = whole_steps(surface_m2, rules.field_spacing_m**2).astype(np.int64)
    edged = np.isin(kind, rules.edging_on)
    fasteners = {
        "perimeter_fasteners": by_area(table["fasteners"].to_numpy()).astype(np.int64),
        "field_fasteners": np.where(nailed, field, 0),
        "fastened_m": by_area(laid_m * fastened),
        "edging_m": by_area(laid_m * edged),
    }
    return pd.DataFrame(sums | of_open | fasteners, index=areas.index)


def _short_sum(areas: pd.DataFrame, off: np.ndarray) -> Finding:
    worst = areas.iloc[int(off.argmax())]
    what = f"boundary runs miss the perimeter by {off.max():.4f} m"
    message = f"{what}; this is a fault of geoturf, please report it"
    site = str(worst["site"])
    area = str(worst["area"])
    return Finding("error", "edges-do-not-add-up", message, site=site, area=area)


def _findings(table: pd.DataFrame, context: pd.DataFrame, rules: EdgeRules) -> tuple[Finding, ...]:
    """What the edges were told from, where it was little, and edgings asked for along nothing."""
    found = set(table["kind"])
    idle = [kind for kind in rules.edging_on if kind not in found] if found else []
    told = [
        Finding(
            "note",
            "idle-edging",
            f"edging_on asks for an edging along edges of kind {kind}, {_NONE}",
        )
        for kind in idle
    ]
    return (*_from_little(table, context), *told)


_NONE = (
    "and no border of any area is one: what such edges lie along must be within [edges] "
    "tolerance of it"
)


def _from_little(table: pd.DataFrame, context: pd.DataFrame) -> tuple[Finding, ...]:
    """A note where all edges count as open."""
    if not len(table) or table["kind"].isin(_THINGS).any():
        return ()
    why = "no building or paving lies along any area"
    if not len(context):
        why = "no building or paving layer was given"
    message = f"{why}: every edge but seams between areas counts as open"
    return (Finding("note", "edges-open", message),)
