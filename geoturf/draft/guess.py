"""What a layer and a column may be. Guesses, to be marked as such wherever they are shown."""

from __future__ import annotations

from collections.abc import Sequence

from geoturf.draft import by_value
from geoturf.read.columns import match
from geoturf.read.look import Held
from geoturf.read.named import NO_LAWN, TO_CUT_OUT, by_name
from geoturf.rules.layer import COLUMNS, PRICED, Layer

#: columns whose values may say what a feature is
_KINDS = {
    *("type", "kind", "class", "category", "feature", "feature_type", "featuretype", "layer"),
    *("use", "usage", "landuse", "land_use", "cover", "landcover"),
}
#: roles that lines may have
_OF_LINES = ("street", "view", "fence", "planter")
_ONLY_TURF = ("product", "pile_bearing_deg")  # columns of geoturf's that nothing but turf has

#: words of column names, best first, by what they may mean
_COLUMNS = {
    "site": "site_id siteid site_name lot lot_no lot_num lot_number lotno lot_id parcel parcel_id "
    "parcelid parcel_no apn pin "
    "property property_id address addr site_addr unit_no location facility park park_name name id",
    "area": "area_id area_no area_name zone zone_id part section bed bed_id polygon_id piece yard "
    "lawn lawn_id lawn_no lawn_name",
    "phase": "ph phase_no phase_id phasing stage delivery release filing region",
    "product": "turf turf_type product_id turf_id surface material",
    "pile_bearing_deg": "bearing pile_bearing pile_dir direction nap azimuth",
    "view": "view_id viewed_from seen_from",
    "slope_pct": "slope slope_percent slope_perc grade grade_pct pct_slope",
    "aspect_deg": "aspect fall_dir downhill",
    "elevation_ft": "elev_ft elevft elevation_f elev_feet z_ft",
    "elevation_m": "elev_m z_m elevation_metres elevation_meters",
    "use": "function landuse land_use usage use_type",
    "cover": "existing exist existing_cover exist_cover landcover land_cover vegetation "
    "ground_cover",
    "irrigation": "irrig irr irr_type irr_method irrig_type irrigation_type watering sprinkler",
    "district": "ward ward_no council_district water_district wd district_name dist",
    "caps": "heads head_count irrig_heads caps_count",
    "dig_depth_in": "dig_in excavate_in cut_in",
    "dig_depth_m": "dig_m excavate_m cut_m",
    "base_depth_in": "base_in stone_in aggregate_in",
    "base_depth_m": "base_m stone_m aggregate_m",
    "model": "house_model plan plan_no plan_name house_plan floorplan",
}

SILENT = "silent"
PRICE_IT = 'role = "turf" under its [[layers]] in a bid file (geoturf draft writes one)'


def areal(held: Held) -> bool:
    """Whether a layer may hold polygons."""
    return not any(kind in held.geometry.lower() for kind in ("point", "line"))


def _useless(held: Held, role: str) -> bool:
    """Whether a role is of no use to points, which have no length along an edge."""
    return role in ("fence", "planter") and "point" in held.geometry.lower()


def role(held: Held) -> tuple[str, str]:
    """The role a layer may have and why: "" where it can have none, `SILENT` where nothing says."""
    named = by_name(held.name)
    said = (named[0], f"by its name ('{named[1]}')") if named else None
    if not areal(held):
        found = said or _by_values(held)
        if found and found[0] in _OF_LINES and not _useless(held, found[0]):
            return found
        return "", f"it holds {held.geometry}, and geoturf prices polygons"
    if said and said[0] not in ("street", "view"):
        return said
    return _by_values(held) or (
        SILENT,
        "as any layer of polygons whose name and values say nothing else",
    )


def _by_values(held: Held) -> tuple[str, str] | None:
    """The role that most values of a telling column mean, and why."""
    for column in (name for name in held.columns if name.strip().casefold() in _KINDS):
        told = [str(value) for value in values(held, column)]
        found = [(by_name(text) or ("",))[0] for text in told]
        for one in (*NO_LAWN, "parcel", "turf"):
            if 2 * found.count(one) > len(told):
                return one, f"by its column {column} ('{told[found.index(one)][:40]}')"
    sure = match(held.columns, Layer(path="x")).found
    return next(
        (("turf", f"by its column {sure[ours]}") for ours in _ONLY_TURF if ours in sure), None
    )


def roles(held: Sequence[Held]) -> list[tuple[str, str]]:
    """The role of each layer, seen together. A layer that nothing is known of is not priced where
    another one says that it is turf, or parcels (it may be their roofs). Parcels are lawns where
    nothing tells what stands on them, and are not used where the turf itself is drawn (it would be
    paid twice). All polygons are turf where the names leave nothing to price."""
    each = [role(one) for one in held]
    found = {name for name, _ in each}
    if "parcel" in found and "turf" in found:
        why = "turf is drawn in another layer, and parcels under it would be paid twice"
        each = [("", why) if r == "parcel" else (r, reason) for r, reason in each]
    elif "parcel" in found and not found & set(TO_CUT_OUT):
        each = [
            ("turf", "as nothing is there to cut out of it") if r == "parcel" else (r, why)
            for r, why in each
        ]
    known = next((one.name for one, (r, _) in zip(held, each, strict=True) if r in PRICED), None)
    if known is not None:
        why = (
            f"its name and values do not say that it is turf, as those of {known} do; to price "
            f"it: {PRICE_IT}"
        )
        return [("", why) if r == SILENT else (r, reason) for r, reason in each]
    if SILENT in found:
        return [("turf", why) if r == SILENT else (r, why) for r, why in each]
    return [
        ("turf", "as nothing else is there to price") if r in NO_LAWN and areal(one) else (r, why)
        for one, (r, why) in zip(held, each, strict=True)
    ]


def doubtful(held: Sequence[Held]) -> list[bool]:
    """Which layers are taken as turf though nothing says so, beside others of which nothing is
    known either, or though they say that they are none."""
    each = [role(one)[0] for one in held]
    many = each.count(SILENT) > 1
    return [
        taken == "turf" and (own in NO_LAWN or (own == SILENT and many))
        for own, (taken, _) in zip(each, roles(held), strict=True)
    ]


def columns(held: Held) -> tuple[dict[str, str], dict[str, str]]:
    """(columns that map by their names, guesses): geoturf's name -> the file's."""
    sure = match(held.columns, Layer(path="x")).found
    taken = set(sure.values())
    guesses = {}
    folded = {
        name.strip().casefold().replace(" ", "_").replace("-", "_"): name
        for name in reversed(held.columns)
    }
    for ours in COLUMNS:
        if ours in sure:
            continue
        for word in _COLUMNS.get(ours, "").split():
            theirs = folded.get(word)
            if theirs is not None and theirs not in taken and _fits(ours, values(held, theirs)):
                guesses[ours] = theirs
                taken.add(theirs)
                break
    free = {name: values(held, name) for name in held.columns if name not in taken}
    return sure, guesses | by_value.guesses(free, {*sure, *guesses})


def values(held: Held, column: str) -> list[object]:
    """The first values of a column, without the empty ones."""
    if column not in held.columns or not held.values:
        return []
    found = held.values[held.columns.index(column)]
    return [v for v in found if v is not None and v == v and str(v).strip()]


def _fits(ours: str, sample: list[object]) -> bool:
    """A guess must have values, and numbers where numbers are needed; what tells of what grows is
    no area's name."""
    if ours == "area" and by_value.tell("cover", sample):
        return False
    if COLUMNS[ours].kind == "text":
        return bool(sample)
    try:
        return bool(sample) and all(
            COLUMNS[ours].low <= float(str(v)) <= COLUMNS[ours].high for v in sample
        )
    except ValueError:
        return False
