"""Rules of how much is taken at once."""

from __future__ import annotations

from geoturf.rules.base import Area, Length, Number, Rules, rule

MEASURED = "tests/bench/large.py: what a run takes"
MIB = 2**20


class LimitRules(Rules):
    """How large an input may be; what is larger is refused by name, before it is worked on.

    Raise a limit where time and memory allow it."""

    entries: Number = rule(
        50_000.0,
        "files and folders below a folder or a glob with ** that are looked through",
        source=MEASURED,
    )
    files: Number = rule(
        1_000.0, "GIS files that one path of a layer (a folder, a glob) may mean", source=MEASURED
    )
    layers: Number = rule(500.0, "layers taken of one file", source=MEASURED)
    unpacked_mib: Number = rule(
        1_024.0, "size in MiB, as declared, of all GIS files in one zip", source=MEASURED
    )
    file_mib: Number = rule(
        4_096.0, "size in MiB of one GIS file, of a shapefile with its parts", source=MEASURED
    )
    text_mib: Number = rule(
        512.0,
        "size in MiB of a GeoJSON or KML file, which is read whole into several times as much "
        "memory",
        source=MEASURED,
    )
    view_steps: Number = rule(
        20e6,
        "steps of SQLite's machine that a view in a GeoPackage may take to count its rows",
        source=MEASURED,
    )
    areas: Number = rule(20_000.0, "areas priced together", source=MEASURED)
    points: Number = rule(
        3e6, "points of the outlines of all areas and of what lies about them", source=MEASURED
    )
    turf_m2: Area = rule(
        "120000 acre",
        "ground priced together, most of it estimated ([layout] laid_bid)",
        source=MEASURED,
    )
    border_m: Length = rule(
        "500 km",
        "border of one area that is laid, holes' too: combs, stars and nets of paths in one",
        source=MEASURED,
    )
    estimated: Number = rule(
        10.0,
        "times as many areas and points are taken where turf is estimated, not laid",
        source="tests/bench/city.py",
    )
    sites_each: Number = rule(
        20_000.0,
        "sites of which each has a takeoff, a price bought alone and rows in the workbook; beyond, "
        "sites.csv alone tells of "
        "each, and there is no workbook",
        source="tests/bench/city.py",
    )

    def of(self, method: str) -> LimitRules:
        """The limits by the ``method`` of `geoturf.rules.LayoutRules`: an estimate takes more."""
        if method == "lay":
            return self
        more = {name: self.estimated * getattr(self, name) for name in _LAID}
        return self.model_copy(update=more)


_LAID = ("areas", "points")  # limits of what is laid
