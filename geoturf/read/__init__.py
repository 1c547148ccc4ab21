"""Files -> `Source`: every layer of a bid, repaired where that is safe, in its own CRS.

    read(bid)
      find       the files that a path, folder, glob or zip means
      item       one such file: its name, parts, bytes, digest
      sound      why one cannot be read as what its name says
      formats    the formats that are read
      look       the layers they hold
      named      what the name of a layer says that it is
      load       columns and geometry, the fastest way that works: bulk, or walk
      account    what the file holds, counted apart, against what came
      shapes     flat, valid polygons
      place      the CRS, and whether coordinates can be in it
      columns    site, area, phase, product ... by name or by mapping
      part       columns and geometry of a layer
      ids        names filled and clashes refused, over all layers
    logo(folder, path)   the picture for the head of papers, where it is safe to draw

What is odd is gathered and told at once. What cannot be priced is left out by name, unless nothing
would be left.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass, field, replace
from functools import cache
from itertools import groupby

import numpy as np
import shapely

import geoturf.text_storage  # noqa: F401 (for its effect)
from geoturf.bid import Bid
from geoturf.errors import InputError
from geoturf.model import Source
from geoturf.read import columns, drawing, ids, place, shapes, texts
from geoturf.read.account import Claim, account, claim
from geoturf.read.find import find
from geoturf.read.item import Item, digest, sha256
from geoturf.read.load import load
from geoturf.read.loaded import Loaded
from geoturf.read.logo import Logo, logo
from geoturf.read.look import Held, choose
from geoturf.read.named import NO_LAWN, by_name
from geoturf.read.part import Columns, Part
from geoturf.read.say import Gathered, Say, counted
from geoturf.rules import LimitRules
from geoturf.rules.layer import COLUMNS, PRICED, Layer
from geoturf.units import unit_factor

__all__ = ["COLUMNS", "Logo", "logo", "read", "sha256"]

_ANY_GEOMETRY = ("street", "view", "fence", "planter")  # roles that may be points or lines


def read(bid: Bid) -> Source:
    """All layers of a bid. Raises `InputError` with every finding when the input is refused."""
    say = Say(Gathered())
    with ThreadPoolExecutor(2) as pool:  # works while files are read
        files = _Files(bid, say, pool)
        given = [_with_kept(layer, bid) for layer in bid.layers]
        done = [part for layer in given for part in _parts(layer, files)]
    files.refuse_changed()
    priced = [one for one in done if one.role in PRICED]
    _refuse_many(done, bid.limits.of(bid.layout.method), say)
    ids.number_areas([one.columns for one in priced])
    ids.refuse_clashes(priced, list(bid.products), say)
    if not say.to.refused and not any(len(one) for one in priced):
        what = "no turf or parcel layer has a polygon that can be used"
        say.refuse("nothing-to-price", f"nothing is left to price: {what}")
    if say.to.refused:
        raise InputError(say.to.findings)
    layers = tuple(one.done() for one in done)
    return Source(layers, tuple(say.to.findings), files.inputs(), say.to.left_out)


def _with_kept(layer: Layer, bid: Bid) -> Layer:
    """The layer with the columns it keeps: its own or the bid's, and none where nothing is
    priced."""
    own = layer.keep
    if layer.keep is None:
        own = bid.keep
    return layer.model_copy(update={"keep": own if layer.role in PRICED else ()})


def _refuse_many(parts: list[Part], limits: LimitRules, say: Say) -> None:
    """Refuses what is more than one run takes, naming the layer that has most."""
    priced = [(len(one), one) for one in parts if one.role in PRICED]
    points = [(int(shapely.get_num_coordinates(one.geometry).sum()), one) for one in parts]
    for counts, what, most, key in (
        (priced, "areas to be priced", limits.areas, "areas"),
        (points, "points of outlines", limits.points, "points"),
    ):
        total = sum(count for count, _ in counts)
        if total > most:
            count, part = max(counts, key=lambda pair: pair[0])
            told = f"{total:,} {what} ({count:,} here), more than {most:,.0f} ([limits] {key})"
            mend = "give fewer at a time, or raise the limit"
            say.at(part.file, part.layer).refuse("too-many", f"{told}; {mend}")


@dataclass(frozen=True)
class _Files:
    """The files of a bid: each is looked up, complained of and summed up once, however many layers
    name it."""

    bid: Bid
    say: Say
    pool: ThreadPoolExecutor
    found: dict[str, list[Item]] = field(default_factory=dict)  # by the path of a layer
    digests: dict[str, Future[str]] = field(default_factory=dict)  # by the file as given
    stamps: dict[str, tuple[Item, str]] = field(default_factory=dict)
    labels: dict[str, list[tuple[str, str]]] = field(default_factory=dict)

    def meant(self, path: str) -> list[list[Item]]:
        """What a path means: the items of each file."""
        if path not in self.found:
            self.found[path] = find(path, self.bid.folder, self.say, self.bid.limits)
        by_file = groupby(self.found[path], lambda item: item.path)
        return [list(items) for _, items in by_file]

    def sum_up(self, item: Item) -> None:
        """Starts on the digest of a file, and takes down its stamp."""
        if item.given in self.digests:
            return
        before = self.bid.looked.get(item.given) or item.stamp()
        self.stamps[item.given] = item, before
        self.digests[item.given] = self.pool.submit(digest, item)

    def swept(self, layer: Layer) -> bool:
        """Whether a layer of the bid may take in more than is meant."""
        return layer.layer == "*" or len(self.found[layer.path]) > 1

    def refuse_changed(self) -> None:
        """What is told of a file must be what was read of it."""
        for given, (item, before) in self.stamps.items():
            if item.stamp() != before:
                what = "was changed while it was read; run again when it is written to its end"
                self.say.at(given).refuse("changed", what)

    def inputs(self) -> tuple[tuple[str, str], ...]:
        """(path as given, SHA-256) of each."""
        return tuple((given, job.result()) for given, job in self.digests.items())


def _parts(layer: Layer, files: _Files) -> Iterator[Part]:
    """What can be used of a layer of the bid: a part for each layer of each file it means."""
    for items in files.meant(layer.path):
        given = items[0].given
        files.sum_up(items[0])
        for chosen in choose(items, layer.layer, files.say.at(given), files.bid.limits):
            label = _label(layer.name or chosen.name, (given, chosen.name), files.labels)
            claimed = files.pool.submit(claim, chosen)
            held = replace(chosen, swept=files.swept(layer))
            say = files.say.at(given, held.inner)
            part = _layer(held, claimed, layer, label, files.bid, say)
            if part is not None:
                yield part


def _label(name: str, origin: tuple[str, str], labels: dict[str, list[tuple[str, str]]]) -> str:
    """What sites of a layer without a site column are called after: its name, numbered where
    another file has the same."""
    origins = labels.setdefault(name, [])
    if origin not in origins:
        origins.append(origin)
    number = origins.index(origin) + 1
    if number == 1:
        return name
    return f"{name} ({number})"


def _layer(
    held: Held, claimed: Future[Claim], layer: Layer, label: str, bid: Bid, say: Say
) -> Part | None:
    """One layer of one file, or None where nothing of it can be used (said)."""
    loaded = load(held, lambda names: columns.match(names, layer).needed(), say)
    if loaded is None:
        return None
    mapping = columns.match(loaded.columns, layer)
    for fault in mapping.faults:
        say.refuse(fault.code, fault.message)
    for doubt in mapping.doubts:
        say.warn(doubt.code, doubt.message)
    if mapping.faults:
        return None
    loaded = account(held, claimed.result(), loaded, mapping.found, say)
    say = say.naming(_names_of(loaded, mapping))
    loaded = loaded.only(columns.where_kept(loaded.table, mapping, layer, len(loaded.ids), say))
    crs = place.crs_of(loaded.crs, layer.crs, loaded.boxes, say)
    if crs is None:
        return None
    if held.item.format == "DXF":
        loaded = drawing.in_grid(loaded, held.item, layer.unit, crs, say)
    loaded = _unwrapped(loaded, place.turn(crs))
    if held.item.format == "GeoJSON":
        shapes.winding(loaded.geometry[loaded.sound], say)
    if held.swept and layer.role in PRICED and shapes.without_area(loaded.geometry):
        none = f"none of its {counted(len(loaded.ids), 'feature')} is a polygon"
        say.warn("no-polygons", f"{none}: nothing of it can be priced")
        return None
    _warn_of_no_lawn(layer, held, say)
    loaded = _with_heights(loaded, layer, say)
    loaded = _usable(loaded, layer.role, say)
    loaded = loaded.only(place.possible(crs, loaded.boxes, loaded.ids, say))
    table = columns.tidy(loaded.table, mapping, loaded.ids, say)
    if layer.role in PRICED:
        product = layer.product or next(iter(bid.products))
        if bid.looked:
            ids.known_products(table, mapping.found, product, list(bid.products), say)
        _take_elevations(table, loaded, layer)
        _name(table, layer, label, product)
    name = layer.name or held.name
    place_in_bid = (name, layer.role, held.item.given, held.inner, layer.sigma_m)
    return Part(*place_in_bid, table, loaded.geometry, crs, layer.correlation_m)


def _warn_of_no_lawn(layer: Layer, held: Held, say: Say) -> None:
    """Says that a layer without a role is priced though its name says that it is no lawn."""
    found = by_name(held.name)
    if "role" in layer.model_fields_set or found is None or found[0] not in NO_LAWN:
        return
    said = (
        f"it is priced as turf, as no role is stated, though its name ('{found[1]}') says "
        f"{found[0]}"
    )
    say.warn("unsaid-role", f'{said}: state its role under its [[layers]], "turf" if it is that')


def _names_of(loaded: Loaded, mapping: columns.Mapping) -> Callable[[str], dict[str, str]]:
    """What finds the site and the area that a file gives a feature; worked out when first asked."""

    @cache
    def rows() -> dict[str, int]:
        return {str(record): row for row, record in enumerate(loaded.ids.tolist())}

    @cache
    def texts_of(theirs: str) -> texts.Texts:
        return texts.of_arrow(loaded.table.column(theirs))

    def named(feature: str) -> dict[str, str]:
        row = rows().get(feature)
        if row is None:
            return {}
        given = [(ours, mapping.found[ours]) for ours in ("site", "area") if ours in mapping.found]
        return {ours: texts_of(theirs).at(row) for ours, theirs in given}

    return named


def _unwrapped(loaded: Loaded, turn: float) -> Loaded:
    """With polygons across 180 degrees in one piece: before anything is called broken in them, and
    mended."""
    geometry, rows = shapes.unwrapped(loaded.geometry, loaded.boxes, turn)
    if not rows.size:
        return loaded
    boxes = loaded.boxes.copy()
    sound = loaded.sound.copy()
    boxes[rows], sound[rows] = shapely.bounds(geometry[rows]), shapes.untouched(geometry[rows])
    sound[list(loaded.bad)] = False
    return replace(
        loaded,
        geometry=geometry,
        boxes=boxes,
        sound=sound,
    )


def _with_heights(loaded: Loaded, layer: Layer, say: Say) -> Loaded:
    """With the heights that its geometry holds, told."""
    rows = np.flatnonzero(~loaded.sound)  # what is sound is flat
    height = np.full(len(loaded.ids), np.nan)
    height[rows] = shapes.heights(loaded.geometry[rows])
    priced = layer.role in PRICED
    shapes.tell_depth(loaded.geometry[rows], height[rows], layer.z if priced else "", priced, say)
    return replace(loaded, height=height)


def _take_elevations(table: Columns, loaded: Loaded, layer: Layer) -> None:
    """Elevations from the heights of the geometry, where the bid takes them and no column states
    one."""
    if not layer.z or loaded.height is None or not np.isfinite(loaded.height).any():
        return
    metres = loaded.height * unit_factor(layer.z)[0]
    kind = COLUMNS["elevation_m"]
    known = (metres >= kind.low) & (metres <= kind.high)
    table.fill("elevation_m", np.where(known, metres, np.nan))


def _usable(loaded: Loaded, role: str, say: Say) -> Loaded:
    """The features whose geometry can be gone on with, flat and valid. Sound ones are not looked at
    again."""
    rows = np.flatnonzero(~loaded.sound)
    if not rows.size:
        return loaded
    geometry = loaded.geometry.copy()
    kept = np.ones(len(loaded.ids), bool)
    if role in _ANY_GEOMETRY:
        geometry[rows] = shapes.flat(geometry[rows])
        kept[rows] = shapes.drawn(geometry[rows], loaded.ids[rows], say)
    else:
        bad = {k: loaded.bad[row] for k, row in enumerate(rows.tolist()) if row in loaded.bad}
        priced = role in PRICED
        mended, fit = shapes.polygons(geometry[rows], loaded.ids[rows], bad, priced, say)
        geometry[rows] = mended
        kept[rows] = fit
    if not kept.any() and len(kept) > 1 and role not in _ANY_GEOMETRY:
        none = f"none of its {len(kept):,} features"
        say.warn("nothing-left", f"{none} is a polygon that can be used")
    boxes = loaded.boxes.copy()
    boxes[rows] = shapely.bounds(geometry[rows])
    return replace(loaded, geometry=geometry, boxes=boxes).only(kept)


def _name(table: Columns, layer: Layer, label: str, product: str) -> None:
    """Fills in site, phase and product where the features name none; areas are numbered later, over
    all layers."""
    none = texts.same("", len(table))
    defaults = {
        "site": layer.site,
        "area": "",
        "phase": layer.phase or "1",
        "product": product,
    }
    if layer.price_book:
        defaults["price_book"] = layer.price_book
    for name, default in defaults.items():
        table.texts[name] = table.texts.get(name, none).filled(default)
    unnamed = table.texts["site"].are("")
    if unnamed.any():
        site = table.texts["site"].each()
        site[unnamed] = label + " " + table.feature[unnamed]
        table.texts["site"] = texts.of(site)
