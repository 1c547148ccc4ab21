"""From layers as read to areas in ground frames."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np
import pandas as pd
import shapely

from geoturf import plane
from geoturf.errors import InputError
from geoturf.ground import context, frames, geodetic, specks, terrain
from geoturf.ground.frames import Outline
from geoturf.ground.mercator import Floats
from geoturf.model import PLACE, Finding, Frames, Ground, Source, SourceLayer, kept_columns
from geoturf.rules.ground import GroundRules
from geoturf.rules.layer import PRICED
from geoturf.units import FOOT_M, US, System

TEXTS = (
    "site",
    "area",
    "phase",
    "product",
    "use",
    "view",
    "cover",
    "irrigation",
    "district",
    "model",
    "price_book",
)
_RISE_M = {"us": 1000 * FOOT_M, "metric": 300.0}  # adds 96, or 94, millionths of area
NUMBERS = (
    "pile_bearing_deg",
    "slope_pct",
    "aspect_deg",
    "elevation_m",
    "caps",
    "work_order",
    "dig_depth_m",
    "base_depth_m",
)


def measure(
    source: Source, rules: GroundRules, said: System = US, near_m: float = context.DRAWN_M
) -> Ground:
    """Every turf area and parcel of a bid at true scale, with what lies within ``near_m`` of it.

    Areas of a site share a frame, so that neighbours meet and one layout serves them; a site wider
    than 10 km gets several (see `geoturf.ground.frames`), which a note says. ``ground_area_m2`` is
    the ellipsoidal area times (1 + h/R)^2 with the area's own elevation h; an area that states none
    takes the mean of its site, and 0 where the whole site states none, which one note says.
    ``surface_area_m2`` is the ground area over cos(atan(slope)).

    Accuracy: area and perimeter within 1 ppm of the geodesic value for areas up to 1 km across, in
    any CRS of PROJ's. Raises `InputError` when nothing is left to measure or the terrain cannot be
    read.
    """
    source, unusable = _usable(source)
    priced = [layer for layer in source.layers if layer.role in PRICED]
    known = _shifts(source.layers)
    shifts = known if rules.ellipsoid == "wgs84" else {}
    measured_in = (geodetic.measured_in(_wkt(layer), shifts) for layer in priced)
    geographics = tuple(dict.fromkeys(measured_in))
    table, shape, lost = _reachable(_areas_table(priced), _outlines(priced, geographics, shifts))
    table, shape, thin = specks.left_out(table, shape, rules, said)
    lost = (*lost, *thin)
    if table.empty:
        nothing = Finding("error", "nothing-to-price", "there is no area left to measure")
        raise InputError([*unusable, *lost, nothing])

    box = frames.bounds_deg(shape)
    table, told = terrain.sampled(table, shape, geographics, rules.terrain)
    elevation = table["elevation_m"].to_numpy()
    site = pd.factorize(table["site"])[0]
    made, frame = frames.frames_for(site, box, shape.geographic, geographics, elevation, shifts)
    table["frame"] = frame
    table["geometry"] = _placed(shape, made, frame)
    areas = _figures(table, made, rules)
    around = context.place(source, made, frame, box, near_m)
    written_in, moved = _written_in(priced, made)
    old = _old_datums(priced, known, bool(shifts), said)
    notes = (*unusable, *old, *lost, *told, *moved, *_assumed(areas, said))
    return Ground(areas, around, _nothing_taken(), made, written_in, notes)


def _usable(source: Source) -> tuple[Source, tuple[Finding, ...]]:
    """The layers whose CRS leads to the earth, and an error for each other one."""
    findings = []
    kept = []
    for layer in source.layers:
        if geodetic.usable(_wkt(layer)):
            kept.append(layer)
            continue
        no_way = f"from its CRS ({layer.table.crs.name}) there is no way to longitude and latitude"
        told = f"is left out: {no_way}; state another"
        findings.append(Finding("error", "unusable-crs", told, file=layer.file, layer=layer.layer))
    return replace(source, layers=tuple(kept)), tuple(findings)


def _placed(shape: Outline, made: Frames, frame: np.ndarray) -> np.ndarray:
    """Geometries in their frames, shells counter-clockwise; the datum is changed where the frame
    has another."""
    vertex = shape.of_vertices(frame)
    old = shape.of_vertices(shape.geographic)
    lonlat = frames.in_datum(shape.lonlat, old, made.geographic_id[vertex], made.geographics)
    xy = frames.project(lonlat, made, vertex)
    flat = shapely.set_coordinates(shape.geometries.copy(), xy)
    return plane.sound(shapely.orient_polygons(flat))


def _figures(table: pd.DataFrame, made: Frames, rules: GroundRules) -> pd.DataFrame:
    """Areas, perimeter, tolerance and the laying plane."""
    geometry = table["geometry"].to_numpy()
    frame = table["frame"].to_numpy()
    true = _true_length(table["elevation_m"].to_numpy(float), geometry, made, frame)
    ground = shapely.area(geometry) * true**2
    slope = table["slope_pct"].fillna(0).to_numpy(float) / 100
    per_ground = np.sqrt(1 + slope**2)  # 1 / cos(atan(slope))
    sigma_m, correlation_m = (table[name].to_numpy(float) for name in ("sigma_m", "correlation_m"))
    table["plan_area_m2"] = np.where(np.isnan(table["plan_area_m2"]), ground, table["plan_area_m2"])
    table["ground_area_m2"] = ground
    table["surface_area_m2"] = ground * per_ground
    table["area_tolerance_m2"] = plane.area_sigma_m2(geometry, sigma_m, correlation_m)
    table["perimeter_m"] = shapely.length(geometry) * true
    table["laid_stretch"] = np.where(per_ground - 1 > rules.stretch_from, per_ground, 1.0)
    table["laid_fall_deg"] = _fall(table)
    table["laid"] = plane.laid(table)
    return table


def _true_length(
    elevation_m: Floats, geometry: np.ndarray, made: Frames, frame: np.ndarray
) -> Floats:
    """A true length at each area over one in its frame: its own elevation over the frame's, and
    less the projection's scale."""
    radius = frames.radius_m(made)[frame]
    height = np.where(np.isnan(elevation_m), made.height_m[frame], elevation_m)
    west, _, east, _ = shapely.bounds(geometry).reshape(-1, 4).T
    from_meridian = (west + east) / 2
    own_scale = 1 + height / radius
    meridian_scale = 1 + from_meridian**2 / (2 * radius**2)
    return np.asarray(own_scale / frames.scale(made)[frame] / meridian_scale)


def _fall(table: pd.DataFrame) -> np.ndarray:
    """Bearing of the fall line where the area is stretched along it: its aspect, or its long side
    where that is unknown."""
    stretched = table["laid_stretch"].to_numpy(float) > 1
    fall = np.where(stretched, table["aspect_deg"].to_numpy(float), np.nan)
    guess = np.flatnonzero(stretched & np.isnan(fall))
    fall[guess] = plane.long_side_deg(table["geometry"].to_numpy()[guess])
    return fall


def _shifts(layers: Sequence[SourceLayer]) -> dict[str, geodetic.Shift]:
    """How each old datum of the layers is left for WGS 84, as is best where its first layer lies (a
    priced one, if any)."""
    found: dict[str, geodetic.Shift | None] = {}
    for layer in sorted(layers, key=lambda one: one.role not in PRICED):
        own = geodetic.geographic_of(_wkt(layer))
        if own not in found and geodetic.is_old(own) and len(layer.table):
            found[own] = geodetic.shift_of(own, _middle(layer))
    return {own: shift for own, shift in found.items() if shift is not None}


def _middle(layer: SourceLayer) -> np.ndarray:
    """Longitude and latitude of the middle one of a layer's features, in its own datum."""
    places = shapely.get_coordinates(shapely.centroid(layer.table.geometry.to_numpy()))
    lonlat = geodetic.to_degrees(places, _wkt(layer))
    middle = np.argsort(lonlat[:, 0])[len(lonlat) // 2]
    return np.asarray(lonlat[middle])


def _outlines(
    layers: list[SourceLayer], geographics: tuple[str, ...], shifts: dict[str, geodetic.Shift]
) -> Outline:
    """The outlines of all layers, one after the other."""
    made = []
    for layer in layers:
        shapes = layer.table.geometry.to_numpy()
        made.append(frames.outline(shapes, _wkt(layer), geographics, shifts))
    return frames.joined(made)


def _areas_table(layers: list[SourceLayer]) -> pd.DataFrame:
    """The rows of all layers, one after the other."""
    if not layers:
        return pd.DataFrame()
    table = pd.concat([_rows(layer) for layer in layers], ignore_index=True)
    return table.fillna(dict.fromkeys(kept_columns(table), ""))  # layers keep each their own


def _rows(layer: SourceLayer) -> pd.DataFrame:
    """The columns of an areas table that a layer gives."""
    table = layer.table
    named = (*TEXTS, "feature", *kept_columns(table))
    texts = {name: _given(table, name, "").to_numpy() for name in named}
    numbers = {name: _given(table, name, np.nan).to_numpy(float) for name in NUMBERS}
    plan = shapely.area(table.geometry.to_numpy()) * geodetic.unit_m(_wkt(layer)) ** 2
    whence = {
        "yard": "",
        "role": layer.role,
        "file": layer.file,
        "layer": layer.layer or layer.name,
        "sigma_m": layer.sigma_m,
        "correlation_m": layer.correlation_m,
    }
    return pd.DataFrame(texts | numbers | whence | {"plan_area_m2": plan})


def _given(table: pd.DataFrame, name: str, otherwise: str | float) -> pd.Series:
    """A column of a layer, or the same value all through where it has none."""
    if name in table:
        return table[name]
    return pd.Series(otherwise, index=table.index)


def _reachable(
    table: pd.DataFrame, shape: Outline
) -> tuple[pd.DataFrame, Outline, tuple[Finding, ...]]:
    """What has a place on the ground; an error for each area that PROJ cannot take back to
    degrees."""
    fine = np.isfinite(shape.lonlat).all(axis=1)
    if fine.all() and (shape.counts > 0).all():
        return table, shape, ()
    size = len(shape.counts)
    owner = shape.of_vertices(np.arange(size))
    bad = (np.bincount(owner, ~fine, minlength=size) > 0) | (shape.counts == 0)
    message = "has coordinates outside what its CRS can hold; check the layer's CRS"
    places = table.loc[bad, [*PLACE]].to_numpy().tolist()
    lost = tuple(Finding("error", "outside-crs", message, *place) for place in places)
    return table[~bad].reset_index(drop=True), shape.only(~bad), lost


def _assumed(areas: pd.DataFrame, said: System) -> Iterator[Finding]:
    """Notes on what was assumed: elevation, fall line, neighbours in a very wide site."""
    flat = int(areas["elevation_m"].isna().sum())
    if flat:
        some = f"{flat} of {len(areas)} areas do not state"
        what = "no area states" if flat == len(areas) else some
        rise = said.length(_RISE_M[said.name], 0)
        how = "taken as the site's mean, or 0 where the site has none"
        adds = f"({rise} of elevation add 0.01 % of area)"
        yield Finding("note", "no-elevation", f"{what} an elevation: {how} {adds}")
    without = (areas["laid_stretch"] > 1) & areas["aspect_deg"].isna()
    guessed = int(without.sum())
    if guessed:
        told = f"{guessed} sloping areas state no aspect_deg: taken to fall along their long side"
        yield Finding("note", "no-aspect", told)
    count = areas.groupby("site", sort=False)["frame"].nunique()
    for site in count.index[count > 1]:
        told = f"is over {said.distance(frames.WIDEST_M)} wide: measured in {count[site]} parts"
        yield Finding("note", "wide-site", told, site=site)


def _old_datums(
    layers: list[SourceLayer], known: dict[str, geodetic.Shift], left: bool, said: System
) -> Iterator[Finding]:
    """A note for each layer on an ellipsoid of the time before satellites: how it was measured, and
    what the other way gives. ``left``: whether such datums were left for WGS 84 where there is a
    way."""
    for layer in layers:
        own = geodetic.geographic_of(_wkt(layer))
        if not geodetic.is_old(own):
            continue
        shift = known.get(own)
        if shift is None:
            how = "measured on its own ellipsoid: PROJ has no transformation to WGS 84 here"
        else:
            how = _left(shift, layer, said) if left else _kept(shift, layer)
        told = f"is on {geodetic.name_of(own)}, {how}"
        yield Finding("note", "old-datum", told, file=layer.file, layer=layer.layer)


def _left(shift: geodetic.Shift, layer: SourceLayer, said: System) -> str:
    """How a layer was measured whose old datum was left for WGS 84."""
    known = shift.accuracy_m >= 0
    good = "how well PROJ does not say"
    if known:
        good = f"to {said.length(shift.accuracy_m)}"
    less = f"on its own ellipsoid areas differ by {_difference(shift, layer)}"
    return f"measured on WGS 84, by {shift.name} (good in place {good}); {less}"


def _kept(shift: geodetic.Shift, layer: SourceLayer) -> str:
    """How a layer was measured that is kept on its old datum."""
    less = f"areas differ from those on WGS 84 by {_difference(shift, layer)}"
    return f"measured on its own ellipsoid as the bid asks: {less}"


def _difference(shift: geodetic.Shift, layer: SourceLayer) -> str:
    return f"{geodetic.own_area_ppm(shift, _middle(layer)):+.0f} millionths"


def _written_in(layers: list[SourceLayer], made: Frames) -> tuple[str, tuple[Finding, ...]]:
    """WKT of the CRS to write geometry in: that of the first layer, turf before parcels, or WGS 84
    (said) where it cannot be."""
    first = min(layers, key=lambda layer: layer.role != "turf")
    own = _wkt(first)
    if not geodetic.writable(own):
        why = "has no name that a GeoPackage can hold"
    elif not frames.hold(made, own):
        why = "has no place for every site"
    else:
        return own, ()
    told = f"geometry is written in WGS 84: its CRS ({geodetic.name_of(own)}) {why}"
    finding = Finding("warning", "other-crs", told, file=first.file, layer=first.layer)
    return geodetic.wkt(geodetic.WGS84), (finding,)


def _nothing_taken() -> pd.DataFrame:
    columns = ["site", "area", "reason", "area_m2"]
    return pd.DataFrame(columns=columns).astype({"area_m2": float})


def _wkt(layer: SourceLayer) -> str:
    return geodetic.wkt(layer.table.crs)
