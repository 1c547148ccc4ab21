"""Roll layout: the pile bearing, the seams and the pieces of every area, and what no layout can beat.

lay(ground, products, rules, engine) -> one `geoturf.model.Choices` an area
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import shapely

from geoturf.engine import Engine, Serial
from geoturf.errors import InputError
from geoturf.layout import kernel
from geoturf.layout.area import lay_priced, lay_together
from geoturf.layout.balance import balanced
from geoturf.layout.models import Place, moved, placed, places, slack_m2
from geoturf.layout.roll import Roll, stocked
from geoturf.layout.shape import Shape, shape_of
from geoturf.model import Choices, Finding, Ground, Layout
from geoturf.rules import LayoutRules, Product

CHUNK = 16  # areas a worker gets at a time
RELAID_AT = 2  # bearings, the best of an area, at which it is laid anew for its pool's prices
FEW = 100  # fewer groups than this are not worth starting workers
_PLAN = np.array([[0.0, 0.0, 1.0, 0.0], [1.0, 0.0, 1.0, 1.0], [1.0, 1.0, 0.0, 0.0]])  # a closed ring, to warm up on
_ROLL, _SHARES = np.array([4.0, 4.0, 0.1, 0.1, 0.1, 0.1, 0.1, 0.1, 30.0, 10.0]), np.ones(50)
_SIZES = np.array([4.0, 3.9, 0.1, 0.1, 0.0])


def lay(
    ground: Ground,
    products: dict[str, Product],
    rules: LayoutRules,
    engine: Engine,
    tick: Callable[[int], Any] | None = None,
) -> tuple[Choices, ...]:
    """Layouts for every area of ``ground``, in order. ``tick(n)`` is told when n more areas are done.

    Raises `InputError` where a product's roll is too small for any piece, or ``rules.toward`` names a layer that is not there.
    """
    areas = ground.areas
    rolls = {name: stocked(name, products[name], rules) for name in dict.fromkeys(areas["product"])}
    shapes = [shape_of(geometry) for geometry in areas["laid"]]
    stock = [rolls[name] for name in areas["product"]]
    bearings = _bearings(ground, rules)
    groups = _groups(areas, bearings)
    alone = {int(g[0]) for g in groups if len(g) == 1}
    keys = [(areas["product"].iat[k], str(bearings[k])) if k in alone else None for k in range(len(shapes))]
    where = places(shapes, keys, np.isnan(bearings))
    tick = tick or (lambda n: None)
    tick(sum(place.of != row for row, place in enumerate(where)))
    groups = [g for g in groups if where[g[0]].of == g[0]]
    jobs = [([shapes[k] for k in g], [stock[k] for k in g], float(bearings[g[0]])) for g in groups]
    done: dict[int, Choices] = {}
    for group, choices in zip(groups, _carry_out(jobs, engine, tick), strict=True):
        done.update(zip(group.tolist(), choices, strict=True))
    for row, place in enumerate(where):
        if place.of != row:
            done[row] = placed(done[place.of], place, slack_m2(shapes[row], stock[row]))
    phases = areas["phase"] if "phase" in areas else areas["product"]
    pools = list(zip(phases, areas["product"], strict=True))

    def relay(rolls: dict[int, tuple[Roll, ...]]) -> dict[int, list[Layout]]:
        return _relaid(rolls, shapes, where, done, engine)

    return tuple(balanced([done[row] for row in range(len(shapes))], pools, stock, relay))


def _relaid(
    rolls: dict[int, tuple[Roll, ...]],
    shapes: list[Shape],
    where: list[Place],
    done: dict[int, Choices],
    engine: Engine,
) -> dict[int, list[Layout]]:
    """Layouts of rows for ``rolls`` with their pools' prices; repeats that share those are laid once."""
    wanted = {(where[row].of, some): None for row, some in rolls.items()}
    jobs = [
        (shapes[of], some, list(dict.fromkeys(layout.bearing_deg for layout in done[of].layouts))[:RELAID_AT])
        for of, some in wanted
    ]
    chunks = [jobs[k : k + CHUNK] for k in range(0, len(jobs), CHUNK)]
    runner = Serial() if len(jobs) < FEW else engine
    laid = dict(zip(wanted, (one for chunk in runner.map(_work_priced, chunks) for one in chunk), strict=True))
    return {row: [moved(layout, where[row]) for layout in laid[where[row].of, some]] for row, some in rolls.items()}


def _work_priced(jobs: list[tuple[Shape, tuple[Roll, ...], list[float]]]) -> list[list[Layout]]:
    """A worker's share of `_relaid`."""
    return [lay_priced(*job) for job in jobs]


Job = tuple[list[Shape], list[tuple[Roll, ...]], float]


def _carry_out(jobs: list[Job], engine: Engine, tick: Callable[[int], Any]) -> list[list[Choices]]:
    """Every job's choices, in order; by the engine where there is enough to do."""
    chunks = [jobs[k : k + CHUNK] for k in range(0, len(jobs), CHUNK)]
    sizes = iter([sum(len(job[0]) for job in chunk) for chunk in chunks])

    def told(n: int) -> None:
        tick(sum(next(sizes) for _ in range(n)))

    runner = Serial() if len(jobs) < FEW else engine
    return [choices for chunk in runner.map(_work, chunks, told) for choices in chunk]


def _work(jobs: list[Job]) -> list[list[Choices]]:
    """A worker's share."""
    return [lay_together(*job) for job in jobs]


def _groups(areas: Any, bearings: np.ndarray) -> list[np.ndarray]:
    """Rows that share a bearing because they are seen together, every other row alone; in order of their first row."""
    view = areas["view"].to_numpy(str)
    free = np.isnan(bearings) & (view != "")
    groups = [np.array([k]) for k in np.flatnonzero(~free)]
    groups += [np.flatnonzero(free & (view == name)) for name in np.unique(view[free])]
    return sorted(groups, key=lambda g: int(g[0]))


def _bearings(ground: Ground, rules: LayoutRules) -> np.ndarray:
    """Pile bearing of each area, NaN where free: its own, its view's (stated for another area), toward a layer, the rules'."""
    areas = ground.areas
    bearings = areas["pile_bearing_deg"].to_numpy(float).copy()
    view = areas["view"].to_numpy(str)
    for name in np.unique(view[(view != "") & ~np.isnan(bearings)]):
        seen = view == name
        first = bearings[seen & ~np.isnan(bearings)][0]
        bearings[seen & np.isnan(bearings)] = first
    if rules.toward:
        rows = np.flatnonzero(np.isnan(bearings))
        bearings[rows] = _toward(ground, rules.toward, rows)
        for name in np.unique(view[rows][view[rows] != ""]):  # seen together: all lean as the first does
            seen = rows[view[rows] == name]
            bearings[seen] = next((b for b in bearings[seen] if not np.isnan(b)), np.nan)
    if rules.bearing != "free":
        bearings[np.isnan(bearings)] = float(rules.bearing)
    return bearings % 360


def _toward(ground: Ground, name: str, rows: np.ndarray) -> np.ndarray:
    """Bearing from each area's centroid to the nearest point of the view layer; NaN in a frame without one."""
    context = ground.context
    layer = context[context["role"] == "view"]
    if "layer" in layer and np.any(layer["layer"] == name):
        layer = layer[layer["layer"] == name]
    if not len(layer):
        message = f"toward = '{name}', but no layer of role \"view\" was read; add it to [[layers]]"
        raise InputError(Finding("error", "no-view-layer", message, layer=name))
    out = np.full(len(rows), np.nan)
    for k, row in enumerate(rows):
        area = ground.areas.iloc[row]
        near = layer[layer["frame"] == area["frame"]]["geometry"]
        if len(near):
            line = shapely.shortest_line(area["laid"].centroid, shapely.union_all(near.to_numpy()))
            (x0, y0), (x1, y1) = shapely.get_coordinates(line)
            out[k] = np.degrees(np.arctan2(x1 - x0, y1 - y0)) % 360
    return out


def warm_seams() -> None:
    """Compile what sets seams, or load what an earlier run compiled (some seconds, once a machine)."""
    from geoturf.layout import placing

    edges, vs = kernel.turn(_PLAN, 1.0, 0.0, 1e-6)
    cuts = placing.rough(vs, vs[0], vs[-1], np.zeros(1), 0.0, 4.0)
    slabs = kernel.slabs(edges, vs, cuts, 0.1)
    _, (before,) = kernel.searches(cuts, *slabs, _ROLL, _SHARES[None], -1)
    placing.near(vs, vs[0], vs[-1], cuts, slabs[0], before, 0, 4, 1.0, 0.1, 4.0)
    lines, _, _ = placing.strips(cuts, *slabs[:3], before, 0.1)
    placing.seams(lines, edges)
    kernel.divisions(lines, np.ones(len(lines), np.int64), lines, _ROLL, True)
    kernel.turf_on(edges, 0.5, np.empty(3))


def warm_parts() -> None:
    """The same for what cuts shapes in parts."""
    from geoturf.layout import parting

    edges, vs = kernel.turn(_PLAN, 1.0, 0.0, 1e-6)
    every = kernel.slabs(edges, vs, vs, 0.1)[:3]
    parting.apart(*parting.between(edges, vs, every, 0, len(vs) - 1), -np.inf, np.inf, _ROLL)
    parting.best_two(edges, vs, every, np.array([0, len(vs) - 1]), vs, vs, np.zeros(1), _ROLL, _SHARES[None], 0.0)
    parting.ends_of(edges)


def warm_bound() -> None:
    """The same for the bound."""
    from geoturf.layout import corners, halving

    edges, vs = kernel.turn(_PLAN, 1.0, 0.0, 1e-6)
    kernel.rows(edges, vs, 0.1)
    corners.loss(edges, vs, _SIZES, 0.0)
    halving.least_taken(_PLAN, 1, 4.0, 1.0, 0.1, _SIZES, 0.0, 1e-6, 0.5, 12)


def fresh() -> bool:
    """Whether kernels are yet to be compiled on this machine, and can be kept; told by a small one, which is compiled now."""
    kernel.lanes_of(1.0, _ROLL)
    return any(kernel.lanes_of.stats.cache_misses.values())
