"""House plans: lots whose lawns are of one shape, and lots that carry one model's name.

house_plans(ground, rules, told) -> the ground with the plan of each area's lot
drawn_alike(ground, rules) -> the ground with areas of one shape laid from one drawing
told_alike(choices, told) -> what is laid alike, and what that costs

Lots of a plan are never drawn quite alike: files round corners, ground frames differ by some ppm. A
layout is made for one drawing, so those within `LayoutRules.alike_within_m` of it are laid as it is
drawn; what is measured on the ground stays as each is.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Hashable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import partial

import numpy as np
import pandas as pd
import shapely
from shapely.geometry.base import BaseGeometry

from geoturf.layout.models import Place, places
from geoturf.layout.shape import shape_of
from geoturf.layout.task import groups_of, keys_of, stated_bearings
from geoturf.model import Choices, Finding, Ground
from geoturf.rules import LayoutRules
from geoturf.units import US, System

GRID_M = 1e-6  # of the vertices of what is laid, as everywhere
_SHOWN = 4  # sizes told of a model


def drawn_alike(ground: Ground, rules: LayoutRules) -> Ground:
    """The ground with areas that may be laid alike laid from the drawing of the first of them,
    moved, turned or mirrored to where each lies; the ground itself where the rules leave each
    free."""
    if rules.alike == "free":
        return ground
    laid_rows = ground.laid
    if not len(laid_rows):
        return ground
    part = ground.only(laid_rows)
    whole = ground.areas
    land = part.areas
    bearings = stated_bearings(part, rules)
    keys, free = keys_of(land, bearings, groups_of(land, bearings), alike=True)
    laid = land["laid"].to_numpy(object)
    # what turf it is does not tell how an area is drawn
    where = places(
        [*map(shape_of, laid)], [key and key[1:] for key in keys], free, True, rules.alike_within_m
    )
    drawn = [
        _drawn(laid[place.of], place) if place.of != k else laid[k] for k, place in enumerate(where)
    ]
    every = whole["laid"].to_numpy(object, copy=True)
    every[laid_rows] = pd.Series(drawn, dtype=object)
    return replace(ground, areas=whole.assign(laid=pd.Series(every, whole.index, dtype=object)))


def _drawn(first: BaseGeometry, place: Place) -> BaseGeometry:
    """The first's drawing where a repeat lies, its vertices on the grid and its shells
    counter-clockwise."""
    turn = np.exp(1j * np.radians(place.turn_deg))

    def there(points: np.ndarray) -> np.ndarray:
        x, y = points.T
        spun = ((-x if place.mirrored else x) + 1j * y) * turn
        at = np.column_stack([spun.real, spun.imag]) + place.move
        snapped: np.ndarray = np.round(at / GRID_M) * GRID_M
        return snapped

    moved = shapely.transform(first, there)
    around: BaseGeometry = shapely.reverse(moved) if place.mirrored else moved
    return around


@dataclass(frozen=True)
class _Lot:
    """A site: its model ("" where none is given), the shapes of its areas, its ground (m2)."""

    model: str
    shapes: Hashable
    ground_m2: float


def house_plans(ground: Ground, rules: LayoutRules, told: System = US) -> Ground:
    """The ground with a column ``shape``, the row of the first area of the same shape, and a column
    ``plan``: lots of one model, else of the same shapes; "" where a lot is like no other. A model
    whose lots differ in size by more than `LayoutRules.plan_size` is parted by size, and said to
    be."""
    rows = ground.laid
    land = ground.only(rows).areas
    shapes = [shape_of(geometry) for geometry in land["geometry"]]
    same = places(shapes, [0] * len(shapes), [True] * len(shapes), True, rules.alike_within_m)
    land = land.assign(shape=np.array([place.of for place in same], int))
    lots = dict(_lots(land))
    named, findings = _by_model(lots, rules, told)
    plan = named | _by_shape(
        {site: lot for site, lot in lots.items() if site not in named}, lots, named
    )
    findings += _several_models(land)
    whole = ground.areas
    column = whole["site"].astype(str).map(plan).fillna("")
    shape = np.arange(len(whole))  # what is estimated is compared with nothing
    shape[rows] = rows[land["shape"].to_numpy()]
    areas = whole.assign(shape=shape, plan=column)
    return replace(ground, areas=areas, findings=(*ground.findings, *findings))


def _lots(land: pd.DataFrame) -> Iterator[tuple[str, _Lot]]:
    """Each site, in order."""
    shape = land["shape"].to_numpy()
    model = land["model"].astype(str).to_numpy() if "model" in land else np.full(len(land), "")
    for site, rows in land.groupby(land["site"].astype(str), sort=False).indices.items():
        given = next((name for name in model[rows] if name), "")
        own = tuple(sorted(shape[rows].tolist()))
        yield str(site), _Lot(given, own, float(land["ground_area_m2"].to_numpy()[rows].sum()))


def _several_models(land: pd.DataFrame) -> list[Finding]:
    """Lots whose areas name more than one model."""
    if "model" not in land:
        return []
    given = land[land["model"].astype(str) != ""]
    models = given["model"].astype(str).groupby(given["site"].astype(str), sort=False).unique()
    return [
        Finding(
            "warning",
            "several-models",
            f"its areas carry the models {', '.join(names)}; it is reckoned as of {names[0]}: give "
            "a lot one model",
            site=str(site),
        )
        for site, names in models.items()
        if len(names) > 1
    ]


def _by_model(
    lots: dict[str, _Lot], rules: LayoutRules, told: System
) -> tuple[dict[str, str], list[Finding]]:
    """The plan of each lot that carries a model, and what is said of models of several sizes."""
    plans: dict[str, str] = {}
    findings = []
    models = dict.fromkeys(lot.model for lot in lots.values() if lot.model)
    taken = set(models)
    for model in models:
        sizes = _sizes({site: lot for site, lot in lots.items() if lot.model == model}, rules)
        names = [model, *_free_names(f"{model}, size {{}}", 2, taken, len(sizes) - 1)]
        for name, some in zip(names, sizes, strict=True):
            plans |= dict.fromkeys(some, name)
        if len(sizes) > 1:
            findings.append(
                _told_sizes(model, names, [[lots[s] for s in some] for some in sizes], rules, told)
            )
    return plans, findings


def _sizes(lots: dict[str, _Lot], rules: LayoutRules) -> list[list[str]]:
    """Lots of a model by size: about the size that most have, then about that of most of the
    rest."""
    left = dict(lots)
    out = []
    while left:
        alike = Counter(lot.shapes for lot in left.values())
        (most, _), *_ = alike.most_common(1)  # the first met of equals
        size_m2 = next(lot.ground_m2 for lot in left.values() if lot.shapes == most)
        near = partial(_near, size_m2=size_m2, part=rules.plan_size)
        out.append([site for site, lot in left.items() if near(lot.ground_m2)])
        left = {site: lot for site, lot in left.items() if not near(lot.ground_m2)}
    return out


def _near(ground_m2: float, size_m2: float, part: float) -> bool:
    return abs(ground_m2 - size_m2) <= part * size_m2


def _told_sizes(
    model: str,
    names: Sequence[str],
    sizes: Sequence[Sequence[_Lot]],
    rules: LayoutRules,
    told: System,
) -> Finding:
    some = [
        f"{len(lots)} of about {told.area(float(np.median([lot.ground_m2 for lot in lots])), 0)} "
        f"({name})"
        for name, lots in zip(names[:_SHOWN], sizes, strict=False)
    ]
    more = ""
    if len(sizes) > _SHOWN:
        more = f" and {len(sizes) - _SHOWN} more"
    message = (
        f"model '{model}' stands on lots of clearly different size, {'; '.join(some)}{more}: each "
        "is reckoned as a plan "
        "of its own; give them models of their own, or raise [layout] plan_size "
        f"({100 * rules.plan_size:g} %)"
    )
    return Finding("note", "plan-sizes", message)


def _by_shape(
    bare: dict[str, _Lot], lots: dict[str, _Lot], named: dict[str, str]
) -> dict[str, str]:
    """The plan of each lot that carries no model: of the first of the same shapes that does, or one
    that two or more of them make."""
    known = {lots[site].shapes: plan for site, plan in reversed(named.items())}
    count = Counter(lot.shapes for lot in bare.values())
    new = [shapes for shapes, many in count.items() if shapes not in known and many > 1]
    names = _free_names("plan {}", 1, set(named.values()), len(new))
    known |= dict(zip(new, names, strict=True))
    return {site: known[lot.shapes] for site, lot in bare.items() if lot.shapes in known}


def _free_names(pattern: str, first: int, taken: set[str], count: int) -> list[str]:
    """So many names by the pattern, numbered from ``first`` on, none of them taken."""
    out: list[str] = []
    number = first
    while len(out) < count:
        name = pattern.format(number)
        number += 1
        if name not in taken:
            out.append(name)
    taken |= set(out)
    return out


def told_alike(choices: Sequence[Choices], told: System = US) -> tuple[Finding, ...]:
    """What is laid alike, and what that costs at the most."""
    members = [choice for choice in choices if choice.alike >= 0]
    if not members:
        return ()
    shapes = len({choice.alike for choice in members})
    cost_m2 = sum(c.alike_cost for c in members)
    message = (
        f"{len(members):,} areas, of {shapes:,} shapes that repeat in their pools, are laid alike; "
        "letting each take what serves best of the layouts offered would save turf and seams worth "
        f"{told.area(cost_m2, 0)} of turf at the most, by the programme that balances widths; "
        'an alternate with change.layout.alike = "free" prices that to the cent'
    )
    return (Finding("note", "laid-alike", message),)
