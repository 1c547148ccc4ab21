"""What a column may be by its values, where its name says nothing: covers, irrigation methods,
uses, districts, phases."""

from __future__ import annotations

import re
from collections.abc import Callable, Collection, Mapping, Sequence

from geoturf.rules.water import Ordinance
from geoturf.rules.water.names import key, meant, rows_of

_MOST = 0.5  # of the values have to tell
LAWNS = {"lawn", "grass", "turf", "turfgrass", "sod"}  # covers, though not which
_USES = {"passive", "median", "street", "picnic", "open_space", "ornamental", "pets", "putting"}
_DISTRICT = re.compile(r"(ward|district|council|precinct|borough)[\s_-]*\w+", re.IGNORECASE)
_PHASE = re.compile(r"(phase|ph|stage)[\s_-]*\d\w*", re.IGNORECASE)


def known_cover(value: str) -> bool:
    """Whether a value is a cover's name, or one that people use for it."""
    known = {row["cover"] for row in rows_of("covers")}
    return meant(value, known, "cover") in known


def known_irrigation(value: str) -> bool:
    known = {row["method"] for row in rows_of("irrigation")}
    return meant(value, known, "irrigation") in known


def _use(value: str) -> bool:
    rules = Ordinance()
    return key(value) in {*rules.special_uses, *rules.residential_uses, *_USES}


_TELLS: dict[str, Callable[[str], object]] = {
    "cover": lambda value: known_cover(value) or key(value) in LAWNS,
    "irrigation": known_irrigation,
    "use": _use,
    "district": _DISTRICT.fullmatch,
    "phase": _PHASE.fullmatch,
}


def guesses(columns: Mapping[str, Sequence[object]], mapped: Collection[str]) -> dict[str, str]:
    """geoturf's name -> the file's, of ``columns`` (name -> first values) that no name has mapped;
    each of geoturf's names that is not among ``mapped`` goes to the column most of whose values
    mean it."""
    found: dict[str, str] = {}
    for ours, tells in _TELLS.items():
        if ours in mapped:
            continue
        shares = {
            name: _share(given, tells)
            for name, given in columns.items()
            if name not in found.values()
        }
        best = max(shares, key=shares.__getitem__, default="")
        if best and shares[best] > _MOST:
            found[ours] = best
    return found


def tell(ours: str, given: Sequence[object]) -> bool:
    """Whether most of the values ``given`` mean one of geoturf's names."""
    return _share(given, _TELLS[ours]) > _MOST


def _share(given: Sequence[object], tells: Callable[[str], object]) -> float:
    """Share of the different texts that tell."""
    texts = {value.strip() for value in given if isinstance(value, str)}
    if texts:
        return sum(bool(tells(text)) for text in texts) / len(texts)
    return 0.0
