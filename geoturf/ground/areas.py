"""From layers as read to areas in ground frames."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np
import pandas as pd
import shapely

from geoturf import plane
from geoturf.errors import InputError
from geoturf.ground import context, frames, geodetic, terrain
from geoturf.ground.frames import Outline
from geoturf.model import Finding, Frames, Ground, Source, SourceLayer
from geoturf.rules.ground import GroundRules
from geoturf.units import FOOT_M, US, System

PRICED = ("turf", "parcel")
TEXTS = ("site", "area", "phase", "product", "use", "view", "cover", "irrigation", "district", "model")
_RISE_M = {"us": 1000 * FOOT_M, "metric": 300.0}  # adds 96, or 94, millionths of area
NUMBERS = ("pile_bearing_deg", "slope_pct", "aspect_deg", "elevation_m", "caps")


def measure(source: Source, rules: GroundRules, said: System = US) -> Ground:
    """Every turf area and parcel of a bid at true scale, with what lies around it.

    Areas of a site share a frame, so that neighbours meet and one layout serves them; a site wider than 10 km gets several (see
    `geoturf.ground.frames`), which a note says. ``ground_area_m2`` is the ellipsoidal area times (1 + h/R)^2 with the area's own
    elevation h; an area that states none takes the mean of its site, and 0 where the whole site states none, which one note says.
    ``surface_area_m2`` is the ground area over cos(atan(slope)).

    Accuracy: area and perimeter within 1 ppm of the geodesic value for areas up to 1 km across, in any CRS of PROJ's.
    Raises `InputError` when nothing is left to measure or the terrain cannot be read.
    """
    source, unusable = _usable(source)
    priced = [layer for layer in source.layers if layer.role in PRICED]
    geographics = tuple(dict.fromkeys(geodetic.geographic_of(_wkt(layer)) for layer in priced))
    table = pd.concat([_rows(layer) for layer in priced], ignore_index=True) if priced else pd.DataFrame()
    table, shape, lost = _reachable(table, _outlines(priced, geographics))
    if table.empty:
        raise InputError([*unusable, *lost, Finding("error", "nothing-to-price", "there is no area left to measure")])

    box = frames.bounds_deg(shape)
    table, told = terrain.sampled(table, shape, geographics, rules.terrain)
    elevation = table["elevation_m"].to_numpy()
    site = pd.factorize(table["site"])[0]
    made, frame = frames.frames_for(site, box, shape.geographic, geographics, elevation)
    table["frame"] = frame
    table["geometry"] = _placed(shape, made, frame)
    areas = _figures(table, made, rules)
    around = context.place(source, made, frame, box)
    notes = (*unusable, *_old_datums(priced), *lost, *told, *_assumed(areas, said))
    turf_first = sorted(priced, key=lambda layer: layer.role != "turf")
    return Ground(areas, around, _nothing_taken(), made, _wkt(turf_first[0]), notes)


def _usable(source: Source) -> tuple[Source, tuple[Finding, ...]]:
    """The layers whose CRS leads to the earth, and an error for each other one."""
    findings, kept = [], []
    for layer in source.layers:
        if geodetic.usable(_wkt(layer)):
            kept.append(layer)
            continue
        told = f"is left out: from its CRS ({layer.table.crs.name}) there is no way to longitude and latitude; state another"
        findings.append(Finding("error", "unusable-crs", told, file=layer.file, layer=layer.layer))
    return replace(source, layers=tuple(kept)), tuple(findings)


def _placed(shape: Outline, made: Frames, frame: np.ndarray) -> np.ndarray:
    """Geometries in their frames, shells counter-clockwise; the datum is changed where the frame has another."""
    vertex, old = shape.of_vertices(frame), shape.of_vertices(shape.geographic)
    lonlat = frames.in_datum(shape.lonlat, old, made.geographic_id[vertex], made.geographics)
    flat = shapely.set_coordinates(shape.geometries.copy(), frames.project(lonlat, made, vertex))
    return plane.sound(shapely.orient_polygons(flat))


def _figures(table: pd.DataFrame, made: Frames, rules: GroundRules) -> pd.DataFrame:
    """Areas, perimeter, tolerance and the laying plane."""
    geometry, frame = table["geometry"].to_numpy(), table["frame"].to_numpy()
    true = _true_length(table["elevation_m"].to_numpy(), geometry, made, frame)
    ground = shapely.area(geometry) * true**2
    per_ground = np.sqrt(1 + (table["slope_pct"].fillna(0).to_numpy() / 100) ** 2)  # 1 / cos(atan(slope))
    table["plan_area_m2"] = np.where(np.isnan(table["plan_area_m2"]), ground, table["plan_area_m2"])
    table["ground_area_m2"] = ground
    table["surface_area_m2"] = ground * per_ground
    table["area_tolerance_m2"] = plane.area_sigma_m2(geometry, table["sigma_m"].to_numpy())
    table["perimeter_m"] = shapely.length(geometry) * true
    table["laid_stretch"] = np.where(per_ground - 1 > rules.stretch_from, per_ground, 1.0)
    table["laid_fall_deg"] = _fall(table)
    table["laid"] = plane.laid(table)
    return table


def _true_length(elevation_m: np.ndarray, geometry: np.ndarray, made: Frames, frame: np.ndarray) -> np.ndarray:
    """A true length at each area over one in its frame: its own elevation over the frame's, and less the projection's scale."""
    radius = frames.radius_m(made)[frame]
    own = np.where(np.isnan(elevation_m), made.height_m[frame], elevation_m)
    west, _, east, _ = shapely.bounds(geometry).reshape(-1, 4).T
    from_meridian = (west + east) / 2
    return (1 + own / radius) / frames.scale(made)[frame] / (1 + from_meridian**2 / (2 * radius**2))


def _fall(table: pd.DataFrame) -> np.ndarray:
    """Bearing of the fall line where the area is stretched along it: its aspect, or its long side where that is unknown."""
    fall = np.where(table["laid_stretch"] > 1, table["aspect_deg"], np.nan)
    guess = np.flatnonzero((table["laid_stretch"] > 1) & np.isnan(fall))
    fall[guess] = plane.long_side_deg(table["geometry"].to_numpy()[guess])
    return fall


def _outlines(layers: list[SourceLayer], geographics: tuple[str, ...]) -> Outline:
    parts = [
        frames.outline(
            layer.table.geometry.to_numpy(), _wkt(layer), geographics.index(geodetic.geographic_of(_wkt(layer)))
        )
        for layer in layers
    ]
    return _joined(parts)


def _joined(parts: list[Outline]) -> Outline:
    if len(parts) == 1:
        return parts[0]
    fields = ("geometries", "lonlat", "counts", "geographic")
    empty = (np.zeros(0, object), np.zeros((0, 2)), np.zeros(0, int), np.zeros(0, int))
    return Outline(
        *(np.concatenate([none, *(getattr(p, f) for p in parts)]) for f, none in zip(fields, empty, strict=True))
    )


def _rows(layer: SourceLayer) -> pd.DataFrame:
    """The columns of an areas table that a layer gives."""
    table, size = layer.table, len(layer.table)
    given = {name: table[name].to_numpy() if name in table else np.full(size, "") for name in (*TEXTS, "feature")}
    numbers = {name: table[name].to_numpy(dtype=float) if name in table else np.full(size, np.nan) for name in NUMBERS}
    plan = shapely.area(table.geometry.to_numpy()) * geodetic.unit_m(_wkt(layer)) ** 2
    whence = {
        "yard": "",
        "role": layer.role,
        "file": layer.file,
        "layer": layer.layer or layer.name,
        "sigma_m": layer.sigma_m,
    }
    return pd.DataFrame(given | numbers | whence | {"plan_area_m2": plan})


def _reachable(table: pd.DataFrame, shape: Outline) -> tuple[pd.DataFrame, Outline, tuple[Finding, ...]]:
    """What has a place on the ground; an error for each area that PROJ cannot take back to degrees."""
    fine = np.isfinite(shape.lonlat).all(axis=1)
    if fine.all() and (shape.counts > 0).all():
        return table, shape, ()
    bad = np.bincount(np.repeat(np.arange(len(shape.counts)), shape.counts), ~fine, minlength=len(shape.counts)) > 0
    bad |= shape.counts == 0
    message = "has coordinates outside what its CRS can hold; check the layer's CRS"
    lost = tuple(
        Finding("error", "outside-crs", message, *place) for place in table.loc[bad, [*_PLACE]].itertuples(index=False)
    )
    kept = Outline(
        shape.geometries[~bad], shape.lonlat[shape.of_vertices(~bad)], shape.counts[~bad], shape.geographic[~bad]
    )
    return table[~bad].reset_index(drop=True), kept, lost


_PLACE = ("file", "layer", "feature", "site", "area")


def _assumed(areas: pd.DataFrame, said: System) -> Iterator[Finding]:
    """Notes on what was assumed: elevation, fall line, neighbours in a very wide site."""
    flat = int(areas["elevation_m"].isna().sum())
    if flat:
        what = "no area states" if flat == len(areas) else f"{flat} of {len(areas)} areas do not state"
        rise = said.length(_RISE_M[said.name], 0)
        how = f"taken as the site's mean, or 0 where the site has none ({rise} of elevation add 0.01 % of area)"
        yield Finding("note", "no-elevation", f"{what} an elevation: {how}")
    guessed = int(((areas["laid_stretch"] > 1) & areas["aspect_deg"].isna()).sum())
    if guessed:
        told = f"{guessed} sloping areas state no aspect_deg: taken to fall along their long side"
        yield Finding("note", "no-aspect", told)
    count = areas.groupby("site", sort=False)["frame"].nunique()
    for site in count.index[count > 1]:
        told = f"is over {said.distance(frames.WIDEST_M)} wide: measured in {count[site]} parts"
        yield Finding("note", "wide-site", told, site=site)


def _old_datums(layers: list[SourceLayer]) -> Iterator[Finding]:
    """A note for each layer on an ellipsoid of the time before satellites."""
    for layer in layers:
        geographic = geodetic.geographic_of(_wkt(layer))
        if abs(geodetic.ellipsoid_of(geographic).a_m - geodetic.ellipsoid_of(geodetic.WGS84).a_m) > 1:
            name = geodetic.name_of(geographic)
            told = f"is on {name}, and measured on its ellipsoid: PROJ's figures for WGS 84 differ by up to 0.006 % of area"
            yield Finding("note", "old-datum", told, file=layer.file, layer=layer.layer)


def _nothing_taken() -> pd.DataFrame:
    return pd.DataFrame({"site": [], "area": [], "reason": [], "area_m2": []}).astype({"area_m2": float})


def _wkt(layer: SourceLayer) -> str:
    return geodetic.wkt(layer.table.crs)
