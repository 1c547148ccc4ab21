"""From GIS files to a starter bid file (`draft`), or straight to a bid with every default stated
(`bid_of_files`).

guess     what a layer and a column may be, by their names
by_value  the same by values, where names say nothing
text      the starter, as commented TOML; water.py its [water] table
"""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from geoturf.bid import Bid, every_rule, make_bid
from geoturf.draft import guess, text
from geoturf.errors import BidError, InputError
from geoturf.model import Finding
from geoturf.read.find import find
from geoturf.read.look import Held, layers, look, reason, sound
from geoturf.read.say import Gathered, Say, counted
from geoturf.rules import LimitRules
from geoturf.rules.layer import PRICED

_NAMES = {
    "site": "each feature a site named by file and number",
    "area": "areas numbered within a site",
    "phase": "one phase",
    "product": "product turf60",
}
_LOOKED_AT = 200  # features whose values may tell a layer's role
_STATED = ("products", "ground", "edges", "layout", "cuts", "materials", "price")


def draft(paths: Sequence[str], out: str | None = None) -> str:
    """A commented starter bid file for these GIS files, its roles and column mapping guessed and
    marked as guesses; written to ``out`` where given (never over a file that is there). Raises
    `InputError` when no file can be read."""
    held, gathered = _survey(paths, 20_000)
    if not held:
        raise InputError(
            gathered.findings
            or [Finding("error", "nothing-to-price", "no layer to draft a bid from")]
        )
    home = Path(out).parent if out else Path()
    beside = [_beside(one.item.given, home) for one in held]
    written = text.starter(_called(paths), held, beside, gathered.findings)
    if out:
        try:
            with Path(out).open("x", encoding="utf-8") as file:
                file.write(written)
        except OSError as error:
            why = (
                "is there already; name another file"
                if isinstance(error, FileExistsError)
                else error.strerror
            )
            raise BidError(
                Finding("error", "not-written", f"the draft cannot be written: {why}", file=out)
            ) from None
    return written


def bid_of_files(paths: Sequence[str]) -> tuple[Bid, list[Finding]]:
    """A bid of bare GIS files, and notes that state every default and assumption. Raises
    `InputError` when a path is refused."""
    held, gathered = _survey(paths, _LOOKED_AT)
    tables = []
    notes = []
    for one, (role, why), doubtful in zip(
        held, guess.roles(held), guess.doubtful(held), strict=True
    ):
        if role:
            tables.append(
                {
                    "path": one.item.given,
                    "layer": one.layer or one.inner,
                    "role": role,
                }
            )
        notes.append(_role_told(one, role, why, doubtful))
    notes += [f for f in gathered.findings if f.severity != "error"]
    unread = {f.file: None for f in gathered.findings if f.severity == "error"}
    tables += [
        {"path": path} for path in unread if path not in {table["path"] for table in tables}
    ]  # read says why
    if not any(table.get("role", "turf") in PRICED for table in tables):
        raise InputError(
            [
                *gathered.findings,
                Finding("error", "nothing-to-price", "no layer of polygons to price"),
            ]
        )
    looked = {one.item.given: one.stamp for one in held}
    bid = make_bid(
        {
            "name": _called(paths),
            "layers": tables,
            "folder": ".",
            "looked": looked,
        }
    )
    return bid, notes + _defaults()


def _role_told(held: Held, role: str, why: str, doubtful: bool) -> Finding:
    """What a layer is taken for; a warning where something that was given is not used, or is priced
    without a reason."""
    place = {"file": held.item.given, "layer": held.inner}
    if not role:
        return Finding("warning", "not-used", f"not used: {why}", **place)
    what = f"{counted(held.count, 'feature')} taken as {role}, {why}"
    if doubtful:
        mend = (
            "if it is not: another role under its [[layers]] in a bid file (geoturf draft "
            "writes one)"
        )
        return Finding("warning", "assumed-role", f"{what}; {mend}", **place)
    columns = ""
    if role in PRICED:
        columns = f"; {_naming(held)}"
    return Finding(
        "note",
        "assumed-role",
        f"{what}{columns}; geoturf draft writes a bid to say otherwise",
        **place,
    )


def _survey(paths: Sequence[str], sample: int) -> tuple[list[Held], Gathered]:
    """Every layer of the files, looked into, with the first values of each column. Raises
    `InputError` when a path means no file that geoturf takes."""
    say = Say(Gathered())
    held: list[Held] = []
    for path in dict.fromkeys(paths):
        for item in find(path, ".", say):
            try:
                stamp = item.stamp()
                inside = sound(layers(item), say.at(item.given), LimitRules())
                held += [replace(look(one, sample), stamp=stamp) for one in inside]
            except Exception as error:  # a damaged file makes the readers raise anything
                say.at(item.given).leave_out(
                    "unreadable", f"cannot be read as {item.format}: {reason(error, item)}"
                )
    if say.to.refused:
        raise InputError(say.to.findings)
    return held, say.to


def _called(paths: Sequence[str]) -> str:
    """What a bid of these files is called: as its file or folder; several files as the folder of
    the first."""
    first = Path(paths[0]).resolve()  # a bare "." has no name
    alone = len(paths) == 1 and first.exists()  # no pattern
    return (first if alone else first.parent).stem or "Bid"


def _beside(path: str, home: Path) -> str:
    """The path as seen from the bid file's folder."""
    if Path(path).is_absolute():
        return path
    return Path(os.path.relpath(path, home)).as_posix()


def _naming(held: Held) -> str:
    """Where sites, areas, phases and products come from."""
    sure, _ = guess.columns(held)
    given = [f"{ours} from its column {theirs}" for ours, theirs in sure.items() if ours in _NAMES]
    return ", ".join(given + [what for ours, what in _NAMES.items() if ours not in sure])


def _defaults() -> list[Finding]:
    """One note a section, with every default in force."""
    sections: dict[str, list[str]] = {}
    for section, key, default, _, _, _, _ in every_rule():
        stated = (
            default not in ("(needed)", "(none)", "[]", "{}", '""')
            and section.split(".")[0] in _STATED
        )
        if stated:
            sections.setdefault(section, []).append(f"{key} = {default}")
    return [
        Finding("note", "default", f"[{section.replace('<name>', 'turf60')}] {', '.join(values)}")
        for section, values in sections.items()
    ]
