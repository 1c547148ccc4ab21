"""What a file holds: layers, columns, CRS, how many features, without reading them."""

from __future__ import annotations

import contextlib
import os
import re
import sys
import warnings
from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import islice

import pyogrio

from geoturf.read import drawing, wkt_table
from geoturf.read.item import Item
from geoturf.read.say import Say, listed
from geoturf.read.views import endless
from geoturf.rules.layer import nearest
from geoturf.rules.limits import LimitRules

#: of a GML: 0012 is no number, and nothing is fetched from an address in it
_GML = {"GML_FIELDTYPES": "ALWAYS_STRING", "GML_DOWNLOAD_SCHEMA": "NO"}
#: what GDAL says on standard error beside the errors that it raises; findings say it in a line
_LOG = {"CPL_LOG": os.devnull}
pyogrio.set_gdal_config_options(_GML | _LOG)
_OF_A_LIBRARY = re.compile(r"\S+\.cpp, \d+: ")  # the line of a library that met a fault


@dataclass(frozen=True)
class Held:
    """A layer in a file. ``layer`` is empty where the format has one layer only; ``columns``, the
    first ``values`` of each, ``geometry``, ``count`` and ``crs`` (WKT) are filled by `look`;
    ``swept``: taken in with others by a folder, a glob or ``"*"``; ``stamp``: of the file when it
    was looked at."""

    item: Item
    layer: str = ""
    columns: tuple[str, ...] = ()
    values: tuple[tuple[object, ...], ...] = ()
    geometry: str = ""
    count: int = -1
    crs: str = ""
    swept: bool = False
    stamp: str = ""

    @property
    def name(self) -> str:
        """What a bid calls it by: the layer's name, or the file's where it holds only one."""
        return self.layer or self.item.stem

    @property
    def inner(self) -> str:
        """Where in the file it is, for findings: empty where the file holds nothing else."""
        return self.layer or (self.item.stem if self.item.member else "")


def layers(item: Item) -> list[Held]:
    """The layers with geometry in a file. Raises pyogrio's errors when it cannot be opened."""
    if item.format == "DXF":
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            return [Held(item, name) for name in drawing.layers(item)]
    if not item.kind.layers:
        return [Held(item)]
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # what matters is said when the layer is read
        listing = pyogrio.list_layers(item.dataset)
    return [Held(item, str(name)) for name, geometry in listing if geometry is not None]


def choose(items: list[Item], wanted: str, say: Say, limits: LimitRules) -> list[Held]:
    """The layer meant, of all that a file (or the files of a zip) hold. Several and none named:
    refused, never the first. Views that do not end are left out."""
    return sound(_meant(items, wanted, say), say, limits)


def sound(held: list[Held], say: Say, limits: LimitRules) -> list[Held]:
    """The layers that can be looked into: none where they are too many (refused), no view that does
    not end."""
    if len(held) > limits.layers:
        what = f"has {len(held):,} layers, more than {limits.layers:,.0f} ([limits] layers)"
        say.refuse("too-many", f"{what}; name the one that is meant, or raise the limit")
        return []
    return [one for one in held if _ends(one, say, limits)]


def _ends(held: Held, say: Say, limits: LimitRules) -> bool:
    """Whether a layer's rows can be counted; says so where they cannot."""
    if held.item.format != "GeoPackage" or not endless(held.item, held.layer, limits.view_steps):
        return True
    what = f"is a view whose rows are not counted in {limits.view_steps:,.0f} steps"
    mend = "save it as a table, or raise [limits] view_steps; it is left out"
    say.leave_out("unreadable", f"{what}: it may never end; {mend}", layer=held.layer)
    return False


def _meant(items: list[Item], wanted: str, say: Say) -> list[Held]:
    """The layers that a name, ``"*"`` or none means."""
    held: list[Held] = []
    for item in items:
        try:
            held += layers(item)
        except Exception as error:  # a damaged file makes the readers raise anything
            say.leave_out(
                "unreadable",
                f"cannot be read as {item.format}: {reason(error, item)}; it is left out",
            )
            return []
    names = [one.name for one in held]
    if not held:
        say.leave_out("unreadable", "holds no layer with geometry; it is left out")
    if wanted == "*" or not held:
        return held
    if not wanted and len(held) > 1:
        say.refuse(
            "several-layers",
            f'holds {len(held)} layers ({listed(names)}); say which: layer = "{names[0]}"',
        )
        return []
    if wanted and wanted not in names and not (len(held) == 1 and not held[0].inner):
        say.refuse(
            "no-such-layer",
            f"has no layer '{wanted}'{nearest(wanted, names)}; it holds {listed(names)}",
        )
        return []
    if wanted in names:
        return [one for one in held if one.name == wanted]
    return held


def reason(error: Exception, item: Item) -> str:
    """Why a library could not read a file: in our words where we know them, else in its own without
    this machine's paths."""
    text = str(error)
    if ".shx" in text.lower():
        return "its .shx is missing; send .shp, .shx, .dbf, .prj and .cpg together"
    if "malformed" in text:
        return "its database is damaged or cut short; send it again"
    text = _OF_A_LIBRARY.sub("", text)
    text = text.replace(item.dataset, item.given).replace(str(item.path.absolute()), item.given)
    return text.split("; It might help")[0].rstrip(".; ")[:200]


def look(held: Held, sample: int) -> Held:
    """The layer with its columns, geometry, CRS and count filled in, and the first values of each
    column. With fiona, which looks in quickest; with pyogrio where fiona has no driver. Raises
    OSError when neither can."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        failed: Exception | None = None
        own = {"CSV": (_look_csv,), "DXF": (_look_dxf,)}
        ways = own.get(held.item.format, (_look_fiona, _look_pyogrio))
        for way in ways[-1:] if held.item.format == "GML" else ways:
            try:
                return way(held, sample)
            except Exception as error:  # a damaged file makes the readers raise anything
                failed = error
        raise OSError(reason(failed or OSError(), held.item))


@contextlib.contextmanager
def hushed() -> Iterator[None]:
    """fiona prints a traceback when GDAL's message about a damaged file is no text itself. Nobody
    needs to see that."""
    hooks = sys.unraisablehook, sys.excepthook
    sys.unraisablehook = lambda _: None
    sys.excepthook = lambda *_: None
    try:
        yield
    finally:
        sys.unraisablehook, sys.excepthook = hooks


def _look_fiona(held: Held, sample: int) -> Held:
    import fiona

    with hushed(), fiona.Env(), fiona.open(held.item.dataset, layer=held.layer or None) as source:
        names = tuple(source.schema["properties"])
        first = [feature.properties for feature in islice(source, sample)]
        values = tuple(tuple(row.get(name) for row in first) for name in names)
        geometry = source.schema["geometry"]
        count = len(source)
        crs = source.crs_wkt
    return replace(
        held,
        columns=names,
        values=values,
        geometry=geometry,
        count=count,
        crs=crs,
    )


def _look_pyogrio(held: Held, sample: int) -> Held:
    if held.item.format == "GeoParquet":
        return _look_parquet(held, sample)
    layer = held.layer or None
    info = pyogrio.read_info(held.item.dataset, layer=layer, force_feature_count=True)
    _, _, _, fields = pyogrio.raw.read(
        held.item.dataset, layer=layer, read_geometry=False, max_features=sample
    )
    names = tuple(str(name) for name in info["fields"])
    values = tuple(tuple(field.tolist()) for field in fields)
    geometry = info["geometry_type"] or "Unknown"
    return replace(
        held,
        columns=names,
        values=values,
        geometry=geometry,
        count=info["features"],
        crs=info["crs"] or "",
    )


def _look_csv(held: Held, sample: int) -> Held:
    table = wkt_table.read(held.item)
    first = table.rows[:sample]
    values = tuple(tuple(row[k] for row in first) for k in range(len(table.columns)))
    count = len(table.rows)
    return replace(
        held,
        columns=table.columns,
        values=values,
        geometry="Unknown",
        count=count,
    )


def _look_dxf(held: Held, sample: int) -> Held:
    loaded = drawing.load(held.item, held.layer, list)
    values = tuple(tuple(column.to_pylist()[:sample]) for column in loaded.table.columns)
    count = len(loaded.ids)
    return replace(
        held,
        columns=loaded.columns,
        values=values,
        geometry="Polygon",
        count=count,
    )


def _look_parquet(held: Held, sample: int) -> Held:
    import geopandas
    from pyarrow import parquet

    with parquet.ParquetFile(held.item.path) as file:
        count = file.metadata.num_rows
    table = geopandas.read_parquet(held.item.path)
    frame = table.drop(columns=table.geometry.name)
    kinds = table.geom_type.dropna().unique()
    return replace(
        held,
        columns=tuple(frame.columns),
        values=tuple(tuple(frame[name].head(sample).tolist()) for name in frame),
        geometry=kinds[0] if len(kinds) == 1 else "Unknown",
        count=count,
        crs=table.crs.to_wkt() if table.crs else "",
    )
