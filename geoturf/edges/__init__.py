"""Areas -> boundary runs, told apart by what lies on the other side, and their fasteners.

Spec: each stretch is ``shared`` (another area of the same site and product: a seam), ``building``, ``paving`` or ``open``, the
first that holds. How a contact is found: `geoturf.edges.contact`; what counts as one: `geoturf.edges.runs.settle`. All areas of
all frames are done at once, as columns.
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
from geoturf.rules.edges import whole_steps

__all__ = ["classify"]

_SLAB = 200_000  # vertices worked on at a time
_ASKED = ("geometry", "frame", "site", "product")  # of an area, to tell whose neighbour it is
_SUM_M = 1e-3  # the four lengths add up to the perimeter this closely


def classify(ground: Ground, products: dict[str, Product], rules: EdgeRules) -> Edges:
    """Boundary runs and fasteners of every area (holes included).

    ``runs`` is ordered by area and ring; ``length_m`` is true at the area's own elevation, as its perimeter is (its site's
    frame is at the mean elevation); ``laid_m`` is its length along the slope, which is what is fastened. ``totals`` has the
    columns of `geoturf.model.Edges`. Counts: a closed run has ``ceil(length / spacing)`` fasteners, an open-ended one the same
    and one more, the field ``ceil(surface area / spacing^2)``; glued products have none (common practice, spec 3)."""
    areas, context = ground.areas, _built(ground.context)
    across = _across_frames(areas, ground.neighbours_across_frames)
    found = [_runs(areas.iloc[rows], across, context, rows, rules.tolerance_m) for rows in _slabs(areas)]
    table = pd.concat(found).sort_values("area_index", kind="stable", ignore_index=True)
    table["length_m"] *= _true(areas)[table["area_index"]]
    up = plane.slope_lengths(areas, table["area_index"].to_numpy(), table["geometry"].to_numpy())
    table["laid_m"] = table["length_m"] * up
    return Edges(table, _totals(areas, table, products, rules), _findings(table, context))


def _slabs(areas: pd.DataFrame) -> list[np.ndarray]:
    """Rows of areas in slabs of whole frames, some `_SLAB` vertices each, so that a large bid takes no more memory at a time
    than a small one. At least one, if empty."""
    frame = areas["frame"].to_numpy(np.int64)
    vertices = np.bincount(frame, shapely.get_num_coordinates(areas["geometry"].to_numpy(dtype=object)))
    slab = (np.cumsum(vertices) - vertices) // _SLAB
    return [np.flatnonzero(slab[frame] == number) for number in np.unique(slab[frame])] or [np.arange(0)]


def _across_frames(areas: pd.DataFrame, placed: pd.DataFrame | None) -> pd.DataFrame:
    """Areas as they stand in other frames than their own: area_index and what `_beside` asks of an area."""
    if placed is None:
        placed = pd.DataFrame({"area_index": np.empty(0, np.int64), "frame": np.empty(0, np.int64), "geometry": []})
    own = areas[["site", "product"]].iloc[placed["area_index"]].reset_index(drop=True)
    return pd.concat([placed, own], axis=1)


def _runs(
    areas: pd.DataFrame, across: pd.DataFrame, context: pd.DataFrame, rows: np.ndarray, tolerance_m: float
) -> pd.DataFrame:
    """The runs of some areas; ``rows`` are their rows in the bid. No other area is in their frames, but for neighbours
    ``across`` frames."""
    context, across = (one[one["frame"].isin(areas["frame"])] for one in (context, across))
    everyone = pd.concat([areas[list(_ASKED)], across[list(_ASKED)]]) if len(across) else areas
    who = np.concatenate([rows, across["area_index"].to_numpy(np.int64)])
    place = places(pd.concat([everyone[["geometry", "frame"]], context[["geometry", "frame"]]]))
    theirs = borders(everyone, place, tolerance_m)
    mine = theirs.where(theirs.owner < len(areas)) if len(across) else theirs
    beside = _beside(everyone, mine, theirs, place, tolerance_m)
    things = {role: context[context["role"] == role] for role in ("paving", "building")}
    sides = [(role, borders(table, place, 0.0)) for role, table in things.items()]
    along = {role: contact.strips(mine, theirs, tolerance_m, _any) for role, theirs in sides}
    cuts = contact.cut(mine, [beside, *along.values()])
    kind = np.full(len(cuts.segment), runs.KINDS.index("open"))
    for role, table in things.items():  # the later overrules
        within = contact.inside(mine, cuts, table, place, tolerance_m)
        kind[_touched(mine, cuts, along[role], within, tolerance_m)] = runs.KINDS.index(role)
    shared = _touched(mine, cuts, beside, np.zeros(len(kind), dtype=bool), tolerance_m)
    kind[shared] = runs.KINDS.index("shared")
    neighbour = np.where(shared, _neighbours(mine, cuts, beside), -1)
    table = runs.table(mine, cuts, kind, neighbour)
    table["area_index"] = rows[table["area_index"]]
    table["neighbour"] = np.where(table["neighbour"] < 0, -1, who[table["neighbour"]])
    return table


def _built(context: pd.DataFrame) -> pd.DataFrame:
    """Buildings and paving: the context that tells edges, polygons only."""
    if not len(context):
        return pd.DataFrame({"role": [], "frame": np.empty(0, np.int64), "geometry": np.empty(0, object)})
    areal = np.isin(shapely.get_type_id(context["geometry"].to_numpy(dtype=object)), (3, 6))
    return context[areal & context["role"].isin(["building", "paving"]).to_numpy()]


def _any(segment: np.ndarray, other: np.ndarray) -> np.ndarray:
    """All pairs are wanted."""
    return np.ones(len(segment), dtype=bool)


def _beside(areas: pd.DataFrame, mine: Borders, theirs: Borders, place: Places, tolerance_m: float) -> contact.Strips:
    """Where borders of other areas (``theirs``) of the same site and product face a border of ``mine``; ``other`` is the other
    area's row.

    Of areas that are drawn twice only the first is looked at from others: they would all say the same."""
    frame = areas["frame"].to_numpy(np.int64)
    group = areas.groupby(["frame", "site", "product"], sort=False, dropna=False).ngroup().to_numpy()
    geometry = areas["geometry"].to_numpy(dtype=object)
    first = ~pd.DataFrame({"group": group, "shape": shapely.to_wkb(geometry)}).duplicated().to_numpy()
    box = place.boxes(shapely.bounds(geometry), frame, tolerance_m)
    one, two = contact.pairs(box, box[first])
    two = np.flatnonzero(first)[two]
    near = np.zeros(len(areas), dtype=bool)
    near[one[(one != two) & (group[one] == group[two])]] = True
    rows = np.flatnonzero(near[mine.owner])
    own, theirs = mine.where(rows), theirs.where((near & first)[theirs.owner])

    def wanted(i: np.ndarray, j: np.ndarray) -> np.ndarray:
        other = (own.owner[i] != theirs.owner[j]) & (group[own.owner[i]] == group[theirs.owner[j]])
        return other & (np.einsum("ij,ij->i", own.along[i], theirs.along[j]) < 0)  # facing

    found = contact.strips(own, theirs, tolerance_m, wanted)
    return replace(found, segment=rows[found.segment], other=theirs.owner[found.other])


def _touched(
    mine: Borders, cuts: contact.Stretches, found: contact.Strips, within: np.ndarray, tolerance_m: float
) -> np.ndarray:
    """Which stretches are in touch with what ``found`` and ``within`` tell of; bool."""
    touching = cuts.covered(found.where(found.facing)) | within
    sure = cuts.covered(found.where(found.facing & found.along))
    return runs.settle(touching, sure, cuts.length, mine.ring[cuts.segment], tolerance_m)


def _neighbours(mine: Borders, cuts: contact.Stretches, beside: contact.Strips) -> np.ndarray:
    """The area beside each stretch: the nearest, then the first; a closed gap goes with the stretch before it. -1 on rings
    without any."""
    first, end = cuts.spans(beside)
    strip = np.repeat(np.arange(len(first)), end - first)
    before = np.cumsum(end - first) - (end - first)
    stretch = first[strip] + np.arange(len(strip)) - before[strip]
    away = np.round(np.abs(beside.offset[strip]), 6)
    order = np.lexsort([beside.other[strip], away, stretch])
    stretch, nearest = np.unique(stretch[order], return_index=True)
    neighbour = np.full(len(cuts.segment), -1)
    neighbour[stretch] = beside.other[strip[order[nearest]]]
    return runs.carry_on(neighbour, mine.ring[cuts.segment])


def _true(areas: pd.DataFrame) -> np.ndarray:
    """True length over length in the frame, of each area."""
    return areas["perimeter_m"].to_numpy(float) / shapely.length(areas["geometry"].to_numpy(dtype=object))


def _totals(areas: pd.DataFrame, table: pd.DataFrame, products: dict[str, Product], rules: EdgeRules) -> pd.DataFrame:
    """Lengths by kind and fasteners, one row an area."""
    count = len(areas)
    sums = {
        f"edge_{kind}_m": np.bincount(table["area_index"], table["length_m"] * (table["kind"] == kind), minlength=count)
        for kind in ("paving", "building", "shared", "open")
    }
    edged = table["kind"].isin(rules.edging_on)
    off = np.abs(sum(sums.values()) - areas["perimeter_m"].to_numpy(float))
    if (off > _SUM_M).any():
        raise PromiseError(_short_sum(areas, off))
    nailed = np.array([products[name].fixing == "nail" for name in areas["product"]], dtype=bool)
    fastened = (table["kind"] != "shared") & nailed[table["area_index"]]
    nails = (whole_steps(table["laid_m"], rules.perimeter_spacing_m) + ~table["closed"]) * fastened
    field = whole_steps(areas["surface_area_m2"], rules.field_spacing_m**2)
    return pd.DataFrame(
        sums
        | {
            "perimeter_fasteners": np.bincount(table["area_index"], nails, minlength=count).astype(np.int64),
            "field_fasteners": np.where(nailed, field, 0),
            "fastened_m": np.bincount(table["area_index"], table["laid_m"] * fastened, minlength=count),
            "edging_m": np.bincount(table["area_index"], table["laid_m"] * edged, minlength=count),
        },
        index=areas.index,
    )


def _short_sum(areas: pd.DataFrame, off: np.ndarray) -> Finding:
    worst = areas.iloc[int(off.argmax())]
    message = f"boundary runs miss the perimeter by {off.max():.4f} m; this is a fault of geoturf, please report it"
    return Finding("error", "edges-do-not-add-up", message, site=str(worst["site"]), area=str(worst["area"]))


def _findings(table: pd.DataFrame, context: pd.DataFrame) -> tuple[Finding, ...]:
    """What the edges were told from, where it was little."""
    if not len(table) or table["kind"].isin(["building", "paving"]).any():
        return ()
    why = "no building or paving layer was given" if not len(context) else "no building or paving lies along any area"
    message = f"{why}: every edge but seams between areas counts as open"
    return (Finding("note", "edges-open", message),)
