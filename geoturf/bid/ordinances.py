"""Ordinances that a bid names by their file: read, looked at, and put in place of the name."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from geoturf.bid import faults
from geoturf.errors import BidError
from geoturf.model import Finding
from geoturf.rules.water.ordinance import REGIONAL, Ordinance, by_file


def with_files(content: dict[str, Any]) -> dict[str, Any]:
    """The tables of a bid with what its ordinances' files say in them. Raises `BidError` with every
    fault of a file that is not there, cannot be read, or does not say all that a verdict needs."""
    water = content.get("water")
    folder = Path(str(content.get("folder", ".")))
    if not isinstance(water, dict):
        return content
    put: dict[str, Any] = {}
    if by_file(water.get("ordinance")):
        put["ordinance"] = _with_file(water["ordinance"], folder)
    several = water.get("ordinances")
    if isinstance(several, dict) and any(map(by_file, several.values())):
        put["ordinances"] = {name: _with_file(one, folder) for name, one in several.items()}
    if put:
        return {**content, "water": {**water, **put}}
    return content


def without(content: dict[str, Any]) -> dict[str, Any]:
    """The tables of a bid but its ordinances: what else is wrong with it can be told beside
    them."""
    water = content["water"].items()
    return content | {
        "water": {key: said for key, said in water if not key.startswith("ordinance")}
    }


def _with_file(said: Any, folder: Path) -> Any:
    """An ordinance with its file's table under its own."""
    name = by_file(said)
    if not name:
        return said
    stated = _read(folder / name, name)
    own = {} if isinstance(said, str) else said
    table = {
        **stated,
        "law": REGIONAL,
        **own,
        "file": name,
    }
    if isinstance(own.get("etaf"), dict):
        table["etaf"] = {**stated["etaf"], **own["etaf"]}
    return table


def _read(path: Path, name: str) -> dict[str, Any]:
    """What a file says, which has to be complete in itself."""
    try:
        if path.exists() and not path.is_file():
            raise _refused("table-unreadable", "is no regular file, as an ordinance must be", name)
        stated = tomllib.loads(path.read_bytes().decode("utf-8-sig"))
    except FileNotFoundError:
        raise _refused("no-table", "there is no such file beside the bid", name) from None
    except OSError as error:
        raise _refused("table-unreadable", f"cannot be read: {error.strerror}", name) from None
    except (ValueError, RecursionError):
        raise _refused("table-unreadable", "is not TOML in UTF-8 that can be read", name) from None
    for key in ("law", "file"):
        if key in stated:
            what = f"key '{key}' says whose an ordinance is, which only a bid does; take it out"
            raise _refused("unknown-key", what, name)
    try:
        Ordinance.model_validate({**stated, "law": REGIONAL})
    except ValidationError as error:
        raise BidError(faults.as_findings(error, Ordinance, name)) from None
    return stated


def _refused(code: str, text: str, name: str) -> BidError:
    return BidError(Finding("error", code, text, file=name))
