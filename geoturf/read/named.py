"""What the name of a layer says that it is."""

from __future__ import annotations

import re

#: words in names of layers and in values of columns, by the role they mean
_ROLES = {
    "building": "bld blds bldg bldgs building buildings house houses dwelling dwellings structure "
    "structures "
    "footprint footprints roof roofs rooftop rooftops roofprint roofprints garage garages shed "
    "sheds",
    "paving": "paving pavement pavements paved drive drives driveway driveways walk walks walkway "
    "walkways sidewalk "
    "sidewalks path paths hardscape hardscapes impervious concrete asphalt patio patios parking "
    "curb curbs",
    "exclude": "exclude excludes excluded exclusion exclusions tree trees treewell treewells pool "
    "pools pond ponds "
    "easement easements keepout wall walls",
    "fence": "fence fences fencing fenceline fencelines",
    "planter": "planter planters planterbox planterboxes flower flowers flowerbed flowerbeds",
    "street": "street streets road roads centerline centerlines centreline centrelines address "
    "addresses",
    "view": "view views viewer viewers",
    "parcel": "parcel parcels lot lots taxlot taxlots cadastre cadastral",
    "turf": "turf lawn lawns grass green greens yard yards sod",
}
_ROLE_OF = {word: role for role, words in _ROLES.items() for word in words.split()}
#: what a lawn is cut around; with fences, what is no lawn itself
TO_CUT_OUT = ("building", "paving", "exclude", "planter")
NO_LAWN = (*TO_CUT_OUT, "fence")


def words(name: str) -> list[str]:
    """``FrontYards_2024`` -> front, yards, 2024."""
    return [w.lower() for w in re.findall(r"[A-Z]?[a-z]+|[A-Z]+(?![a-z])|\d+", name)]


def meant(word: str) -> str:
    """The role a word means, also one run together of two (``taxlots``, ``buildingfootprints``); ""
    where it means none."""
    if word in _ROLE_OF:
        return _ROLE_OF[word]
    parts = ((word[:k], word[k:]) for k in range(4, len(word) - 2))
    return next(
        (_ROLE_OF[first] for first, rest in parts if first in _ROLE_OF and rest in _ROLE_OF), ""
    )


def by_name(name: str) -> tuple[str, str] | None:
    """The role that a name means, and the word of it that does; None where none does."""
    return next(((role, word) for word in words(name) if (role := meant(word))), None)
