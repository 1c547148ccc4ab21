"""What a file holds: layers, columns, CRS, how many features, without reading them."""

from __future__ import annotations

from dataclasses import dataclass

import pyogrio

from geoturf.read.find import Item
from geoturf.read.say import Say, listed
from geoturf.rules.layer import nearest


@dataclass(frozen=True)
class Held:
    """A layer in a file. ``layer`` is empty where the format has one layer only; ``columns`` (name -> type), ``geometry``,
    ``count`` and ``crs`` (WKT) are filled by `look`."""

    item: Item
    layer: str = ""
    columns: tuple[str, ...] = ()
    geometry: str = ""
    count: int = -1
    crs: str = ""

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
    if item.format not in ("GeoPackage", "KML"):
        return [Held(item)]
    return [Held(item, str(name)) for name, geometry in pyogrio.list_layers(item.dataset) if geometry is not None]


def choose(items: list[Item], wanted: str, say: Say) -> list[Held]:
    """The layer meant, of all that a file (or the files of a zip) hold. Several and none named: refused, never the first."""
    held: list[Held] = []
    for item in items:
        try:
            held += layers(item)
        except (pyogrio.errors.DataSourceError, pyogrio.errors.DataLayerError, OSError) as error:
            text = str(error).replace(item.dataset, item.given).split("; It might help")[0]
            say.leave_out("unreadable", f"cannot be read as {item.format}: {text[:200]}; it is left out")
            return []
    names = [one.name for one in held]
    if not held:
        say.leave_out("unreadable", "holds no layer with geometry; it is left out")
    if wanted == "*" or not held:
        return held
    if not wanted and len(held) > 1:
        say.refuse("several-layers", f'holds {len(held)} layers ({listed(names)}); say which: layer = "{names[0]}"')
        return []
    if wanted and wanted not in names and not (len(held) == 1 and not held[0].layer):
        say.refuse("no-such-layer", f"has no layer '{wanted}'{nearest(wanted, names)}; it holds {listed(names)}")
        return []
    return [one for one in held if one.name == wanted] if wanted in names else held
