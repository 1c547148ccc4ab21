"""Rolls and what is cut from them, from pieces.csv, rolls.csv and cut_plan.csv alone."""

from __future__ import annotations

from typing import Any

import numpy as np
import shapely

from geoturf.audit.folder import Folder
from geoturf.audit.told import Floats, Told, between, compared, first_wrong

_ROOM_M = 1.6e-3  # places and sizes are written to a ten-thousandth of a foot; so is their sum


def widths_of(product: dict[str, Any]) -> list[float]:
    return [product["roll_width"], *(more["roll_width"] for more in product["more_rolls"])]


def lengths_of(product: dict[str, Any]) -> list[float]:
    return [
        *product["roll_lengths"],
        *(one for m in product["more_rolls"] for one in m["roll_lengths"]),
    ]


def promises(folder: Folder) -> list[Told]:
    told = [_stocked(folder), *_places(folder), *_sums(folder)]
    return [*told, *_bounds(folder)]


def _stocked(folder: Folder) -> Told:
    """Every roll is of a width and a length that can be bought, or a left-over at hand."""
    rolls = folder.table("rolls")
    products = folder.settings["products"]
    stock = folder.settings["cuts"]["stock"]
    wrong = []
    table = zip(
        rolls.text("roll"),
        rolls.text("product"),
        rolls.si("width"),
        rolls.si("length"),
        strict=True,
    )
    for roll, product, width, length in table:
        if product not in products:
            wrong.append(f"{roll} is of '{product}', which is no product of the bid")
            continue
        if stock:
            continue
        turf = products[product]
        if min(abs(width - one) for one in widths_of(turf)) > _ROOM_M:
            wrong.append(f"{roll} is {width:.4f} m wide, which is not stocked")
        lengths = lengths_of(turf)
        whole = turf["sold_by"] == "roll" and min(abs(length - one) for one in lengths) > 0.02
        if whole or length > max(lengths) + _ROOM_M:
            wrong.append(f"{roll} is {length:.4f} m long, which cannot be bought")
    return first_wrong("rolls as stocked", "widths and lengths of rolls", wrong, len(rolls))


def _places(folder: Folder) -> list[Told]:
    """Each piece lies on a roll of its product, within it, apart from all others."""
    rolls = folder.table("rolls")
    pieces = folder.table("pieces")
    place = {name: k for k, name in enumerate(rolls.text("roll"))}
    names = pieces.text("piece")
    at = [place.get(roll, -1) for roll in pieces.text("roll")]
    lost = [f"{one} is cut from no roll" for one, k in zip(names, at, strict=True) if k < 0]
    told = [first_wrong("pieces on rolls", "rolls of pieces", lost, len(names))]
    if lost or not names:
        return told
    k = np.array(at, np.intp)
    turf = zip(
        names, pieces.text("product"), np.array(rolls.text("product"), object)[k], strict=True
    )
    other = [f"{one} of {own} is cut from {its}" for one, own, its in turf if own != its]
    told.append(first_wrong("turf of rolls", "products of pieces", other, len(names)))
    trim = folder.settings["layout"]["selvage_trim"]
    stock = bool(folder.settings["cuts"]["stock"])
    x = pieces.si("along")
    y = pieces.si("across")
    far = x + pieces.si("length")
    near = x
    if pieces.tells("length_right"):
        right = pieces.si("along_right")
        end = np.where(np.isnan(right), far, right + pieces.si("length_right"))
        far = np.fmax(far, end)
        near = np.fmin(near, np.where(np.isnan(right), near, right))
    usable = rolls.si("width")[k] - (0.0 if stock else 2 * trim)
    length = rolls.si("length")[k] + _ROOM_M
    told.append(between("within rolls", "ends of pieces on rolls", names, far, near, length, "m"))
    told.append(
        between(
            "within rolls' widths",
            "sides of pieces on rolls",
            names,
            y + pieces.si("width"),
            0.0,
            usable + _ROOM_M,
            "m",
        )
    )
    told.append(_apart(folder, k, names))
    return told


def _apart(folder: Folder, k: np.ndarray, names: list[str]) -> Told:
    """No turf is used twice. Rolls are laid far from each other, and pieces on them as they are
    cut."""
    pieces = folder.table("pieces")
    x = pieces.si("along")
    y = pieces.si("across") + 1000.0 * k
    long = pieces.si("length")
    wide = pieces.si("width")
    x1 = x
    long1 = long
    if pieces.tells("length_right"):
        right = pieces.si("along_right")
        x1 = np.where(np.isnan(right), x, right)
        long1 = np.where(np.isnan(right), long, pieces.si("length_right"))
    corners = np.stack([x, y, x + long, y, x1 + long1, y + wide, x1, y + wide], axis=1)
    boxes = np.asarray(shapely.polygons(corners.reshape(-1, 4, 2)), object)
    one, other = shapely.STRtree(boxes).query(boxes, predicate="intersects")
    one, other = one[one < other], other[one < other]
    both = shapely.area(shapely.intersection(boxes[one], boxes[other]))
    room = _ROOM_M * np.fmax(long[one] + wide[one], long[other] + wide[other])
    wrong = [
        f"{names[a]} and {names[b]} are cut from the same turf"
        for a, b in zip(one[both > room], other[both > room], strict=True)
    ]
    return first_wrong("turf cut once", "pieces on their rolls", wrong, len(names))


def _sums(folder: Folder) -> list[Told]:
    """What is bought is one sum, however it is taken: by roll, pool, area and site."""
    rolls = folder.table("rolls")
    plan = folder.table("cut_plan")
    areas = folder.table("areas")
    keys = sorted(set(zip(plan.text("phase"), plan.text("product"), strict=True)))
    names = [f"phase {phase}, {product}" for phase, product in keys]

    def by_key(table: Any, values: Floats) -> Floats:
        sums = dict.fromkeys(keys, 0.0)
        own = zip(table.text("phase"), table.text("product"), values, strict=True)
        for phase, product, value in own:
            sums[phase, product] = sums.get((phase, product), 0.0) + value
        return np.array([sums[key] for key in keys])

    bought = by_key(plan, plan.si("bought"))
    cut = by_key(rolls, rolls.si("width") * rolls.si("length"))
    stock = bool(folder.settings["cuts"]["stock"])
    room = bought * 1e-5 + 0.01
    told = [
        between(
            "turf bought",
            "turf bought",
            names,
            bought,
            0.0 if stock else cut - room,
            cut + room,
            "m2",
        )
    ]
    shares = by_key(areas, areas.si("turf_bought"))
    count = by_key(areas, np.full(len(areas), areas.step("turf_bought")))
    told.append(
        compared("turf of areas", "turf bought of areas", names, shares, bought, room + count, "m2")
    )
    surface = by_key(areas, areas.si("surface_area") * folder.laid)
    needed = by_key(plan, plan.si("needed"))
    told.append(
        compared(
            "turf needed", "surfaces to be covered", names, needed, surface, room + count, "m2"
        )
    )
    return [*told, *_by_area(folder)]


def _by_area(folder: Folder) -> list[Told]:
    areas = folder.table("areas")
    pieces = folder.table("pieces")
    keys = list(zip(areas.text("site"), areas.text("area"), strict=True))
    place = {key: k for k, key in enumerate(keys)}
    own = zip(pieces.text("site"), pieces.text("area"), strict=True)
    at = np.array([place.get(key, 0) for key in own], np.intp)
    count = np.bincount(at, minlength=len(keys))
    told = [
        compared("pieces of areas", "pieces", folder.areas, areas.numbers("pieces"), count, 0.0)
    ]
    if not pieces.tells("length_right"):
        cut = np.bincount(at, pieces.si("length") * pieces.si("width"), len(keys))
        room = areas.step("piece_area") + cut * 1e-4
        told.append(
            compared(
                "turf as cut",
                "areas of pieces",
                folder.areas,
                areas.si("piece_area"),
                cut,
                room,
                "m2",
            )
        )
    return told


# ---------------------------------------------------------------------------------------- the bound


def _bounds(folder: Folder) -> list[Told]:
    """The bound lies between two that anybody can reckon: the ground, at the part of a roll's width
    that its selvages leave; and these very pieces, cut without any loss.

    No turf can be bought under the first. What is no more than the least of all layouts is no more
    than this one, in which no roll is cut better than with nothing left over, rounded up to what
    can be bought."""
    plan = folder.table("cut_plan")
    products = folder.settings["products"]
    names = [f"pool {name}" for name in plan.text("pool")]
    trim = folder.settings["layout"]["selvage_trim"]
    bound = plan.si("bound")
    bought = plan.si("bought")
    needed = _by_pool(folder, _laid(folder))
    turf = [products.get(name) for name in plan.text("product")]
    losses = [[w / (w - 2 * trim) for w in widths_of(one)] if one else [1.0] for one in turf]
    stock = sum(one["width"] * one["length"] for one in folder.settings["cuts"]["stock"])
    least = np.maximum(0.0, needed - stock) * np.array([min(one) for one in losses])
    cut = _by_pool(folder, folder.table("areas").si("piece_area")) * np.array(
        [max(one) for one in losses]
    )
    most = np.minimum(cut + np.array([_purchase(folder, one) for one in turf]), bought) * (1 + 1e-6)
    room = plan.step("bound") * 2
    least = np.nan_to_num(least, nan=0.0)
    most = np.where(np.isnan(most), bought, most)
    told = [
        between(
            "bound",
            "bounds of any layout",
            names,
            bound,
            least * (1 - 1e-5) - room,
            most + room,
            "m2",
        ),
        between("order", "turf bought over its bound", names, bought, bound - room, np.inf, "m2"),
    ]
    own = plan.si("cut_bound")
    told.append(
        between("cut bound", "bounds of these pieces", names, own, 0.0, bought + room, "m2")
    )
    return [*told, _gap(names, plan.numbers("gap_pct"), bought, bound)]


def _gap(names: list[str], given: Floats, bought: Floats, bound: Floats) -> Told:
    """Percents over the bound: none where stock at hand serves a pool, and no number where turf is
    bought though it might."""
    open_ended = (bound <= 0) & (bought > 0)
    some = bound > 0
    gap = np.where(some, 100 * (bought / np.where(some, bound, 1.0) - 1), 0.0)
    number = np.where(open_ended & np.isnan(given), 0.0, np.where(open_ended, np.inf, given))
    return compared("gap", "percents over the bound", names, number, gap, 0.02 + gap * 1e-3, "%")


def _purchase(folder: Folder, turf: dict[str, Any] | None) -> float:
    """The turf that rounding up to a purchase may add."""
    if turf is None:
        return 0.0
    step = folder.settings["cuts"]["billing_step"]
    if turf["sold_by"] == "roll":
        step = max(lengths_of(turf))
    return float(step * max(widths_of(turf)))


def _laid(folder: Folder) -> Floats:
    """What each area takes of turf that lies flat on it: its surface, or its ground where the slope
    is too little to be laid out along it."""
    areas = folder.table("areas")
    ground = areas.si("ground_area")
    surface = areas.si("surface_area")
    steep = surface / ground - 1 > folder.settings["ground"]["stretch_from"]
    return np.where(steep, surface, ground) * folder.laid


def _by_pool(folder: Folder, values: Floats) -> Floats:
    """Sums of each pool, over the areas that share it; NaN where its name does not tell them for
    sure, as where a product comes in several dye lots."""
    plan = folder.table("cut_plan")
    areas = folder.table("areas")
    apart = {
        "phase": (),
        "site": ("site",),
        "area": ("site", "area"),
    }[folder.settings["cuts"]["pool"]]
    keys = zip(*(areas.text(name) for name in ("phase", "product", *apart)), strict=True)
    sums: dict[tuple[str, ...], float] = {}
    owner: dict[tuple[str, ...], set[tuple[str, ...]]] = {}
    for key, value in zip(keys, values, strict=True):
        name = tuple(sorted(key))
        sums[name] = sums.get(name, 0.0) + float(value)
        owner.setdefault(name, set()).add(key)
    named = [tuple(sorted(pool.split(" / "))) for pool in plan.text("pool")]
    sure = {name for name, keys_ in owner.items() if len(keys_) == 1 and named.count(name) == 1}
    return np.array([sums[name] if name in sure else np.nan for name in named], float)
