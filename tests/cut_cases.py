"""Made-up choices for the tests of the cut plan, and a checker of plans that shares no code with
them."""

from __future__ import annotations

import numpy as np
import pandas as pd
import shapely

from geoturf.model import Choices, CutPlan, Frames, Ground, Layout

INCH, FOOT = 0.0254, 0.3048
ROLL_IN, USABLE_IN = 180, 178  # a 15 ft roll less an inch of selvage on each side


def layout(
    sizes_in, roll_in: float = ROLL_IN, usable_in: float = USABLE_IN, cost: float | None = None
) -> Layout:
    """A layout of pieces cut (length, width) in inches, side by side, 3 in at each end to trim; no
    seams."""
    cut = np.array(sizes_in, float).reshape(-1, 2) * INCH
    v = np.concatenate([[0.0], np.cumsum(cut[:, 1])])
    pieces = np.column_stack([np.zeros(len(cut)), cut[:, 0] - 6 * INCH, v[:-1], v[1:]])
    none = np.zeros((0, 3))
    area = float(cut.prod(axis=1).sum())
    return Layout(
        0.0,
        pieces,
        none,
        none,
        cut,
        usable_in * INCH,
        roll_in * INCH,
        0.0,
        area if cost is None else cost,
    )


def choices(*layouts: Layout) -> Choices:
    """These layouts for one area."""
    return Choices(tuple(layouts), layouts[:1], float("nan"))


def ground(count: int, sites=None, phase: str = "1", product: str = "turf60") -> Ground:
    table = pd.DataFrame(
        {
            "site": sites or [f"lot{k + 1}" for k in range(count)],
            "area": ["lawn"] * count,
            "phase": phase,
            "product": product,
            "surface_area_m2": 10.0,
            "frame": range(count),
            "work_order": np.nan,
            "laid": [shapely.box(-500, -500, 500, 500)] * count,  # turf under every joint
        }
    )
    zero = np.zeros(count)
    return Ground(table, pd.DataFrame(), pd.DataFrame(), Frames(zero, zero, zero, zero, ()), "")


def assert_sound(plan: CutPlan, usable_m: float = USABLE_IN * INCH) -> None:
    """Every piece is on one roll, inside it, over no other, and can be cut out with cuts across and
    lengthwise."""
    length_of = dict(zip(plan.rolls["roll"], plan.rolls["length_m"], strict=True))
    assert plan.pieces["piece"].is_unique and plan.rolls["roll"].is_unique
    assert set(plan.pieces["roll"]) == set(plan.rolls["roll"])
    for name, part in plan.pieces.groupby("roll"):
        boxes = part[["along_m", "across_m", "length_m", "width_m"]].to_numpy()
        boxes = np.column_stack([boxes[:, :2], boxes[:, :2] + boxes[:, 2:]])
        assert boxes[:, 0].min() >= -1e-9 and boxes[:, 2].max() <= length_of[name] + 1e-6, name
        assert boxes[:, 1].min() >= -1e-9 and boxes[:, 3].max() <= usable_m + 1e-6, name
        for section in _cut(boxes, 0):
            for lane in _cut(section, 1):
                assert len(_cut(lane, 0)) == len(lane), f"{name}: not cut free in three cuts"
    counted = plan.pieces.groupby("roll").size()
    assert plan.rolls.set_index("roll")["pieces"].to_dict() == counted.to_dict()


def _cut(boxes: np.ndarray, axis: int) -> list[np.ndarray]:
    """Groups that straight cuts across ``axis`` tell apart; boxes that overlap stay in one
    group."""
    groups, reach = [], -np.inf
    for box in boxes[np.argsort(boxes[:, axis], kind="stable")]:
        if box[axis] >= reach - 1e-6:
            groups.append([])
        groups[-1].append(box)
        reach = max(reach, box[axis + 2])
    return [np.array(group) for group in groups]
