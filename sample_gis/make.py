"""Makes the demo data: an invented town, Quillhaven, that exists nowhere; nobody's land, nobody's
names.

    python sample_gis/make.py

writes into this folder, always the same shapes:

    development/*.shp   120 lots in three phases, State Plane in US survey feet (EPSG:2228): turf, houses, paving, lots
    parks.geojson       40 areas of the town's parks, medians and school grounds, longitude and latitude
    portfolio.gpkg      25 commercial properties, UTM (EPSG:26911): layers turf, buildings, paving
"""

from __future__ import annotations

import math
import random
from pathlib import Path

import geopandas as gpd
import numpy as np
import pyogrio
from shapely import affinity
from shapely.geometry import LineString, MultiPolygon, Point, Polygon, box

HERE = Path(__file__).parent
STATE_PLANE, UTM = "EPSG:2228", "EPSG:26911"

# ----------------------------------------- the development: lots of 60 x 120 ft along three streets
LOT_W, LOT_D = 60.0, 120.0
STREET_HALF = 25.0  # roadway and sidewalk, from the street's middle line to the lots

# House footprints in lot coordinates: x along the street from the lot's left line, y from the front
# line; feet.
HOUSES = {
    "Alder": [(6, 26), (26, 26), (26, 22), (48, 22), (48, 30), (54, 30), (54, 66), (6, 66)],
    "Birch": [(6, 22), (28, 22), (28, 30), (54, 30), (54, 62), (36, 62), (36, 70), (6, 70)],
    "Cedar": [(8, 30), (30, 30), (30, 24), (52, 24), (52, 64), (24, 64), (24, 58), (8, 58)],
    "Dogwood": [(6, 24), (28, 24), (28, 34), (40, 34), (40, 28), (54, 28), (54, 68), (6, 68)],
    "Elm": [(7, 28), (53, 28), (53, 58), (44, 58), (44, 66), (20, 66), (20, 58), (7, 58)],
    "Fir": [(6, 22), (27, 22), (27, 26), (54, 26), (54, 60), (30, 60), (30, 72), (6, 72)],
}
SETBACK = 8.0  # the houses stand this much further back than drawn above
HOUSES = {model: [(x, y + SETBACK) for x, y in corners] for model, corners in HOUSES.items()}
# Where the garage is: the drive runs from the street to it (x0, x1), and the walk from the drive to
# the door (x0, x1).
DRIVES = {
    "Alder": (28, 46),
    "Birch": (8, 26),
    "Cedar": (32, 50),
    "Dogwood": (8, 26),
    "Elm": (10, 28),
    "Fir": (8, 25),
}
DOORS = {
    "Alder": (14, 18),
    "Birch": (36, 40),
    "Cedar": (16, 20),
    "Dogwood": (44, 48),
    "Elm": (38, 42),
    "Fir": (38, 42),
}


def arc(
    cx: float, cy: float, rx: float, ry: float, start: float, stop: float, n: int
) -> list[tuple[float, float]]:
    return [
        (cx + rx * math.cos(t), cy + ry * math.sin(t))
        for t in np.radians(np.linspace(start, stop, n))
    ]


def model_lot(model: str, variant: int) -> dict[str, Polygon | MultiPolygon]:
    """House, paving and the two lawns of a house model on a straight lot.

    Variants: 0 plain back yard, 1 round beds, 2 tree wells.
    """
    lot, house = box(0, 0, LOT_W, LOT_D), Polygon(HOUSES[model])
    front, rear = min(y for _, y in HOUSES[model]), max(y for _, y in HOUSES[model])
    d0, d1 = DRIVES[model]
    w0, w1 = DOORS[model]
    drive = box(d0, 0, d1, 48).difference(house)
    walk = (
        box(min(w0, d1), front - 5, max(w1, d0), front - 1)
        .union(box(w0, front - 5, w1, 48))
        .difference(house)
    )
    paving = drive.union(walk).difference(house)
    paving = max(
        getattr(paving, "geoms", [paving]), key=lambda part: part.area
    )  # what lies before the front door
    patio = box(14, rear, 38, rear + 10)
    back = box(3, rear, LOT_W - 3, LOT_D - 3).difference(house).difference(patio)
    if variant == 1:
        back = back.difference(
            Polygon([*arc(LOT_W - 3, LOT_D - 3, 18, 12, 180, 270, 13), (LOT_W - 3, LOT_D - 3)])
        )
        back = back.difference(Polygon([(3, LOT_D - 3), *arc(3, LOT_D - 3, 14, 10, 270, 360, 11)]))
    lawn = box(2, 2, LOT_W - 2, front - 6).difference(
        drive
    )  # planting beds between the walk and the house
    if variant == 1:
        lawn = lawn.difference(Point(2 if d0 > 20 else LOT_W - 2, 2).buffer(7, 6))
    if variant == 2:
        lawn = lawn.difference(Point(LOT_W / 2 + (18 if d0 < 20 else -18), 7).buffer(2, 4))
        back = back.difference(Point(46, LOT_D - 12).buffer(2.5, 4))
    return {
        "lot": lot,
        "house": house,
        "paving": paving.union(patio),
        "front": keep(lawn),
        "back": keep(back),
    }


def keep(lawn: Polygon | MultiPolygon) -> Polygon | MultiPolygon:
    """Without remnants that nobody would lay: necks under 2 ft, parts under 60 sq ft."""
    opened = lawn.buffer(-1, join_style="mitre").buffer(1, join_style="mitre").intersection(lawn)
    parts = [
        p for p in getattr(opened, "geoms", [opened]) if p.geom_type == "Polygon" and p.area >= 60
    ]
    return parts[0] if len(parts) == 1 else MultiPolygon(parts)


def wedge_lot(model: str, start: float, stop: float) -> dict[str, Polygon | MultiPolygon]:
    """A lot round the bulb of a cul-de-sac: a wedge from radius 45 to 165 ft, lawns to its slanted
    lines."""
    lot = Polygon(arc(0, 0, 45, 45, start, stop, 9) + arc(0, 0, 165, 165, stop, start, 13))
    middle = (start + stop) / 2

    def place(shape: Polygon) -> Polygon:
        """From lot coordinates to the wedge: the house looks at the bulb's middle, 18 ft further
        out than on a straight lot."""
        outward = affinity.translate(shape, -LOT_W / 2, 50)
        return affinity.rotate(outward, middle - 90, origin=(0, 0))

    house = place(Polygon(HOUSES[model]))
    front, rear = min(y for _, y in HOUSES[model]), max(y for _, y in HOUSES[model])
    d0, d1 = DRIVES[model]
    drive = place(box(d0, -20, d1, 48)).difference(house).intersection(lot)
    patio = place(box(14, rear, 38, rear + 10))
    inner = lot.buffer(-3, join_style="mitre")
    before, behind = (
        place(box(-60, -40, LOT_W + 60, front + 4)),
        place(box(-60, rear, LOT_W + 60, LOT_D + 60)),
    )
    return {
        "lot": lot,
        "house": house,
        "paving": drive.union(patio),
        "front": keep(inner.intersection(before).difference(house).difference(drive)),
        "back": keep(inner.intersection(behind).difference(house).difference(patio)),
    }


def development() -> dict[str, gpd.GeoDataFrame]:
    """120 lots: three streets of 18 lots a side and four wedges round a cul-de-sac each; the second
    street is curved."""
    chance = random.Random(20)
    rows: dict[str, list[dict]] = {"turf": [], "houses": [], "paving": [], "lots": []}
    number = 0
    for phase in (1, 2, 3):
        for lot in range(40):
            number += 1
            model = chance.choice(sorted(HOUSES))
            parts = (
                model_lot(model, chance.randrange(3))
                if lot < 36
                else wedge_lot(model, -90 + 45 * (lot - 36), -45 + 45 * (lot - 36))
            )
            placed = {part: place_lot(shape, phase, lot) for part, shape in parts.items()}
            add_lot(rows, f"Q-{number:03d}", phase, lot, model, placed, chance)
    return {name: gpd.GeoDataFrame(records, crs=STATE_PLANE) for name, records in rows.items()}


def add_lot(
    rows: dict, site: str, phase: int, lot: int, model: str, placed: dict, chance: random.Random
) -> None:
    pets = chance.random() < 0.2
    slope = chance.choice([0, 0, 0, 1, 2, 2, 4])
    rows["lots"].append({"LOT": site, "PHASE": str(phase), "geometry": placed["lot"]})
    rows["houses"].append({"LOT": site, "MODEL": model, "geometry": placed["house"]})
    rows["paving"].append({"LOT": site, "geometry": placed["paving"]})
    for area in ("front", "back"):
        rows["turf"].append(
            {
                "LOT": site,
                "AREA": area,
                "PHASE": str(phase),
                "MODEL": model,
                "PRODUCT": "meadow80" if area == "front" else ("paws60" if pets else "meadow60"),
                "VIEW": f"street {phase} side {lot // 18 + 1}"
                if phase == 3 and area == "front" and lot < 36
                else "",
                "SLOPE_PCT": float(slope),
                "ELEV_FT": 318.0 + 2 * phase,
                "CAPS": 6 if area == "front" else 9,
                "geometry": placed[area],
            }
        )


def place_lot(shape: Polygon, phase: int, lot: int) -> Polygon:
    """From lot coordinates to the ground: along the street, to its side, turned and moved as a
    whole."""
    length = 18 * LOT_W
    if lot >= 36:  # the bulb at the street's end
        shape, x, turn = affinity.translate(shape, length + 70, 0), 0.0, 0.0
    else:
        side, along = divmod(lot, 18)
        x = along * LOT_W
        turn = 0.0 if side == 0 else 180.0
        shape = affinity.translate(shape, 0, STREET_HALF)
        if turn:
            shape = affinity.translate(affinity.rotate(shape, 180, origin=(0, 0)), LOT_W, 0)
        if (
            phase == 2
        ):  # a bend of 1,400 ft radius: each lot stands square to its own stretch of it, apart enough at the rear
            angle = (x + LOT_W / 2) / 1260
            shape = affinity.translate(shape, -LOT_W / 2, 0)
            shape = affinity.rotate(shape, math.degrees(angle) * 0.999, origin=(0, 0))
            return settle(
                affinity.translate(
                    shape, 1400 * math.sin(angle) + 200, 1400 * (1 - math.cos(angle)) + 480
                )
            )
        shape = affinity.translate(shape, x, 0)
    if phase == 2:
        end = length / 1260
        shape = affinity.rotate(
            affinity.translate(shape, -length, 0), math.degrees(end), origin=(0, 0)
        )
        return settle(
            affinity.translate(shape, 1400 * math.sin(end) + 200, 1400 * (1 - math.cos(end)) + 480)
        )
    if phase == 3:
        shape = affinity.translate(affinity.rotate(shape, -38, origin=(0, 0)), 100, -420)
    return settle(shape)


def settle(shape: Polygon) -> Polygon:
    """The whole development stands 11 degrees off grid north; coordinates to 1/1000 ft, as a
    surveyor's file has them."""
    from shapely import set_precision

    turned = affinity.translate(affinity.rotate(shape, 11, origin=(0, 0)), 6_352_000.0, 2_148_000.0)
    return set_precision(turned, 0.001)


# --------------------------------------------------------- the town: parks, medians, school grounds
PARKS = [
    "Heron Green",
    "Lantern Park",
    "Millrace Common",
    "Tansy Field",
    "Orchard Square",
    "Kestrel Park",
    "Old Ropewalk",
]
SCHOOLS = ["Fennel Street School", "Quillhaven High School", "Harrow Lane School"]
MEDIANS = ["Saltgrass Parkway", "Ferry Road", "Copper Avenue", "Juniper Way", "Beacon Street"]


def blob(chance: random.Random, radius: float, n: int) -> Polygon:
    """A smooth lawn: a circle with three slow waves."""
    waves = [(k, chance.uniform(0.02, 0.22 / k), chance.uniform(0, 6.28)) for k in (2, 3, 5)]
    points = []
    for t in np.linspace(0, 2 * math.pi, n, endpoint=False):
        r = radius * (1 + sum(a * math.cos(k * t + p) for k, a, p in waves))
        points.append((r * math.cos(t) * 1.3, r * math.sin(t)))
    return Polygon(points)


def median(length: float, width: float, radius: float) -> Polygon:
    """A strip with round ends on a bend."""
    middle = LineString(arc(0, -radius, radius, radius, 90, 90 - math.degrees(length / radius), 40))
    return middle.buffer(width / 2, quad_segs=6)


def parks() -> gpd.GeoDataFrame:
    chance = random.Random(31)
    records: list[dict] = []

    def add(
        site: str, area: str, shape: Polygon, east: float, north: float, **more: object
    ) -> None:
        records.append(
            {
                "site": site,
                "area": area,
                **more,
                "geometry": affinity.translate(shape, 250_000 + east, 4_070_000 + north),
            }
        )

    for k, site in enumerate(PARKS):
        district = ["North", "South", "River"][k % 3]
        for j, area in enumerate(["great lawn", "picnic lawn", "play lawn"]):
            shape = blob(
                chance,
                chance.uniform(14, 42) if j else chance.uniform(40, 70),
                160 if j == 0 else 72,
            )
            if j == 0:
                shape = shape.difference(Point(12, 5).buffer(6, 8)).difference(
                    box(-4, -200, 0, 200)
                )
            add(
                site,
                area,
                shape,
                900 * k,
                700 * (k % 3) + 190 * j,
                cover="cool_season_lawn",
                irrigation=["worn_spray", "spray", "rotor"][(k + j) % 3],
                district=district,
                use="play" if j == 2 else "lawn",
                phase=district,
            )
    for k, site in enumerate(SCHOOLS):
        for j, area in enumerate(["entrance", "courtyard", "side field"]):
            shape = box(0, 0, [42, 24, 96][j], [11, 24, 60][j])
            if j == 1:
                shape = shape.difference(box(9, 9, 15, 15))
            add(
                site,
                area,
                affinity.rotate(shape, 17 * k + 8, origin=(0, 0)),
                1100 * k + 400,
                2600 + 170 * j,
                cover="warm_season_lawn" if j == 2 else "cool_season_lawn",
                irrigation="rotor" if j == 2 else "spray",
                district=["North", "South", "River"][k],
                use="sport" if j == 2 else "lawn",
                phase=["North", "South", "River"][k],
            )
    for k, site in enumerate(MEDIANS):
        for j in range(2):
            shape = median(
                chance.uniform(60, 190), chance.uniform(2.6, 6.5), chance.uniform(260, 900)
            )
            add(
                site,
                f"block {j + 1}",
                affinity.rotate(shape, 30 * k, origin=(0, 0)),
                1000 * k + 260 * j,
                3600 + 60 * k,
                cover="cool_season_lawn",
                irrigation=["spray", "worn_spray"][(k + j) % 2],
                district=["North", "South", "River"][(k + 1) % 3],
                use="median",
                phase=["North", "South", "River"][(k + 1) % 3],
            )
    return gpd.GeoDataFrame(records, crs=UTM).to_crs("EPSG:4326")


# ------------------------------------------------------------- the portfolio: commercial properties
KINDS = ["Depot", "Exchange", "Court", "Mill", "Yard"]
TREES = ["Amber", "Basalt", "Cobalt", "Drift", "Ember"]


def portfolio() -> dict[str, gpd.GeoDataFrame]:
    chance = random.Random(47)
    layers: dict[str, list[dict]] = {"turf": [], "buildings": [], "paving": []}
    for k in range(25):
        site = f"{TREES[k % 5]} {KINDS[k // 5]}"
        width, depth = chance.uniform(70, 140), chance.uniform(60, 110)
        house = box(18, 22, width - 18, depth - 26)
        lot = box(12, depth - 24, width - 12, depth - 6)
        walk = box(width / 2 - 1.5, 0, width / 2 + 1.5, 22)
        frontage = box(4, 3, width - 4, 16).difference(walk)
        parts = list(frontage.geoms)
        courts = {
            "frontage west": parts[0],
            "frontage east": parts[1],
            "side": Polygon([(4, 20), (18, 22), (18, depth - 26), (4, depth - 40)]),
        }
        if k % 3 == 0:
            courts["island"] = Polygon(arc(width / 2, depth - 15, 9, 2.2, 0, 345, 24))
        if k % 4 == 1:
            inner = box(width / 2 - 9, depth / 2 - 7, width / 2 + 9, depth / 2 + 7)
            house = house.difference(inner)
            courts["courtyard"] = inner.difference(Point(width / 2, depth / 2).buffer(2, 6))
        paving = walk.union(lot.difference(courts.get("island", Polygon())))
        turn, east, north = (
            chance.uniform(-40, 40),
            249_000 + 420 * (k % 5),
            4_063_000 + 360 * (k // 5),
        )

        def settle_utm(
            shape: Polygon, turn: float = turn, east: float = east, north: float = north
        ) -> Polygon:
            return affinity.translate(affinity.rotate(shape, turn, origin=(0, 0)), east, north)

        for area, shape in courts.items():
            layers["turf"].append(
                {
                    "property": site,
                    "area": area,
                    "region": "East" if k % 5 > 2 else "West",
                    "slope_pct": chance.choice([0.0, 1.0, 3.0, 11.0]),
                    "aspect_deg": chance.choice([10.0, 100.0, 200.0]),
                    "geometry": settle_utm(shape),
                }
            )
        layers["buildings"].append({"property": site, "geometry": settle_utm(house)})
        layers["paving"].append({"property": site, "geometry": settle_utm(paving)})
    return {name: gpd.GeoDataFrame(records, crs=UTM) for name, records in layers.items()}


def main() -> None:
    pyogrio.set_gdal_config_options(
        {"OGR_CURRENT_DATE": "2026-01-01T00:00:00.000Z"}
    )  # the same bytes on any day
    (HERE / "development").mkdir(exist_ok=True)
    for name, table in development().items():
        table.to_file(
            HERE / "development" / f"{name}.shp",
            engine="pyogrio",
            DBF_DATE_LAST_UPDATE="2026-01-01",
        )
    parks().to_file(
        HERE / "parks.geojson", driver="GeoJSON", engine="pyogrio", COORDINATE_PRECISION=8
    )
    (HERE / "portfolio.gpkg").unlink(missing_ok=True)
    for name, table in portfolio().items():
        table.to_file(HERE / "portfolio.gpkg", layer=name, driver="GPKG", engine="pyogrio")


if __name__ == "__main__":
    main()
