"""The report folder, written whole or not at all.

Everything is written into a hidden folder beside the wanted one, which then takes its place in one
step: where the system can exchange two names at once (Linux), a run killed at any moment leaves the
old folder or the new one; elsewhere the old folder is moved aside first, and the next run puts it
back if that is where the last one died. What was written is on the disk before that step, so that a
power cut does no more harm than a kill.

A run holds a lock on its hidden folder, which the system lets go of when the run ends, however it
ends: the next run removes folders that nobody holds.
"""

from __future__ import annotations

import ctypes
import glob
import os
import shutil
import sys
import tempfile
import time
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from geoturf.audit import BROKEN, Told, audit
from geoturf.engine import Engine
from geoturf.errors import InputError, PromiseError
from geoturf.memory import give_back
from geoturf.model import Finding, Result

_MARK = "run.json"  # a folder that holds one is ours to replace
_OLD_S = 3600  # where folders cannot be locked, half-written ones so old are taken for left behind


def write(
    result: Result,
    folder: str | Path,
    readers: Iterable[str] | None = None,
    engine: Engine | None = None,
) -> tuple[Told, ...]:
    """Every output in ``folder``, with the papers for ``readers`` (None: all of them, but for bids
    of very many sites), which the ``engine``'s workers help with where they are many. Gives what its
    audit says. Raises `InputError` when the folder holds other things or cannot be written, and
    `PromiseError` when the audit finds a promise broken."""
    told: list[Told] = []

    def fill(fresh: Path) -> None:
        _fill(fresh, result, readers, engine)
        told.extend(_audited(fresh, result))

    whole(folder, fill)
    return tuple(told)


def _audited(fresh: Path, result: Result) -> list[Told]:
    """What the second program says of a report, before it is put in place."""
    told = audit(fresh, result.bid.folder, result.bid.given)
    wrong = [one for one in told if one.verdict == BROKEN]
    if wrong:
        raise PromiseError(Finding("error", "audit", _not_agreed(one)) for one in wrong)
    return told


def _not_agreed(one: Told) -> str:
    what = f"the audit does not agree, {one.promise}: {one.said}"
    return f"{what}; this is a fault of geoturf, please report it"


def whole(
    folder: str | Path,
    fill: Callable[[Path], None],
    ours: Callable[[Path], bool] | None = None,
) -> None:
    """What ``fill`` writes into the folder it is given, put in place as ``folder`` whole or not at
    all. ``ours``: whether what is there may be replaced; a report may if it is not said. Raises
    `InputError` as `look` does, and when the folder cannot be written."""
    look(folder, ours)
    folder = _real(folder)
    try:
        folder.parent.mkdir(parents=True, exist_ok=True)
        with _reserved(folder) as fresh:
            fill(fresh)
            fresh.chmod(0o755)
            _settle(fresh)
            _put_in_place(fresh, folder)
    except OSError as error:
        raise _unwritable(folder, error) from None


def _fill(
    fresh: Path, result: Result, readers: Iterable[str] | None, engine: Engine | None
) -> None:
    from geoturf import front, papers, tables

    with papers.printing(result, readers, engine) as put_papers:
        tables.write(result, fresh)
        give_back()
        _write_pages(result, fresh)
        put_papers(fresh)
    written = [path.relative_to(fresh).as_posix() for path in fresh.rglob("*") if path.is_file()]
    first = front.page(result, [*written, "run.json"])
    (fresh / "index.html").write_text(first, encoding="utf-8", errors="replace")
    tables.write_run(result, fresh)  # last: its presence says that the folder is complete


def _write_pages(result: Result, fresh: Path) -> None:
    """The workbook, the maps and the pages of subjects of their own."""
    from geoturf import maps, portfolio, workbook

    if result.each:
        workbook.write(result, fresh / "bid.xlsx")
    files = {"map.html": maps.OFFICE}
    if result.any_turf:  # else there is nothing to offer
        files["client/map.html"] = maps.CLIENT
    pages = maps.pages(result, result.bid.units, files.values())
    for file, page in zip(files, pages, strict=True):
        (fresh / file).write_text(page, encoding="utf-8")
    give_back()
    if result.water is not None:
        from geoturf import planner

        (fresh / "planner.html").write_text(planner.page(result), encoding="utf-8")
    (fresh / "portfolio.html").write_text(portfolio.page(result), encoding="utf-8")


def look(folder: str | Path, ours: Callable[[Path], bool] | None = None) -> None:
    """What can be known before the work: raises `InputError` when a report cannot be put into
    ``folder``. Removes what runs that are gone left half written beside it. A link is followed."""
    real = _real(folder)
    try:
        _refuse_what_cannot_move(real, Path(folder))
        refuse_foreign(real, ours)
        _sweep(real)
        _try_to_write(real)
    except OSError as error:
        raise _unwritable(Path(folder), error) from None


def is_link(folder: str | Path) -> bool:
    return Path(folder).is_symlink()


def identity(folder: str | Path) -> tuple[int, int] | None:
    """Tells one report from the next in the same place; None where there is none."""
    try:
        found = _real(folder).stat()
    except OSError:
        return None
    return found.st_dev, found.st_ino


def _real(folder: str | Path) -> Path:
    """Where a report goes: what a link points at is replaced, not the link."""
    return Path(os.path.realpath(folder))


def _refuse_what_cannot_move(real: Path, named: Path) -> None:
    if Path.cwd().is_relative_to(real):
        what = "is the folder you are in, or holds it"
    elif real.is_mount():
        what = "is where a disk is mounted"
    else:
        return
    message = (
        f"{what}, and a report takes the place of the whole folder; name a folder in it with --out"
    )
    raise InputError(Finding("error", "foreign-folder", message, file=str(named)))


def _try_to_write(folder: Path) -> None:
    """In the nearest folder that is there, under a name as long as the longest one wanted."""
    there = folder.parent
    while not there.exists():
        there = there.parent
    for part in folder.relative_to(there).parts:
        with suppress(FileNotFoundError):
            (there / part).stat()  # refuses names that are too long
    Path(
        tempfile.mkdtemp(
            prefix=f".{folder.name}.",
            suffix=".part",
            dir=there,
        )
    ).rmdir()


def refuse_foreign(folder: str | Path, ours: Callable[[Path], bool] | None = None) -> None:
    """Raises `InputError` when ``folder`` is a file, or holds things that are not ``ours`` (a
    report, if it is not said). Mends a half-moved folder."""
    folder = Path(folder)
    aside = _aside(folder)
    if aside.exists() and not folder.exists():
        aside.rename(folder)
    if folder.is_dir() and (not any(folder.iterdir()) or (ours or is_report)(folder)):
        return
    if folder.exists():
        what = "is a file" if folder.is_file() else "holds files that geoturf did not write"
        if folder.is_dir() and is_report(folder):
            what = "holds a report, which a comparison does not replace"
        raise InputError(
            Finding(
                "error",
                "foreign-folder",
                f"{what}; name another folder with --out",
                file=str(folder),
            )
        )


def is_report(folder: Path) -> bool:
    """A report, or the committed tables of one."""
    names = {entry.name for entry in folder.iterdir()}
    return _MARK in names or {"areas.csv", "bid.csv", "cut_plan.csv"} <= names


def _put_in_place(fresh: Path, folder: Path) -> None:
    if not folder.exists():
        fresh.rename(folder)
    elif not _exchange(fresh, folder):
        aside = _aside(folder)
        shutil.rmtree(aside, ignore_errors=True)
        folder.rename(aside)
        try:
            fresh.rename(folder)
        except BaseException:  # a stop too
            aside.rename(folder)
            raise
        shutil.rmtree(aside, ignore_errors=True)


@contextmanager
def _reserved(folder: Path) -> Iterator[Path]:
    """A hidden folder beside ``folder``, locked, and gone afterwards."""
    fresh, lock = _fresh(folder)
    try:
        yield fresh
    finally:
        shutil.rmtree(fresh, ignore_errors=True)
        if lock is not None:
            os.close(lock)


def _fresh(folder: Path) -> tuple[Path, int | None]:
    while True:
        fresh = Path(
            tempfile.mkdtemp(
                prefix=f".{folder.name}.",
                suffix=".part",
                dir=folder.parent,
            )
        )
        with suppress(
            BlockingIOError, FileNotFoundError
        ):  # swept by another run before it was locked
            return fresh, _locked(fresh)


def _sweep(folder: Path) -> None:
    """Removes what runs that are gone left half written beside ``folder``."""
    for left in folder.parent.glob(f".{glob.escape(folder.name)}.*.part"):
        with suppress(OSError):  # held by another run, somebody else's, or just gone
            lock = _locked(left)
            if lock is not None or time.time() - left.stat().st_mtime > _OLD_S:
                shutil.rmtree(left, ignore_errors=True)
            if lock is not None:
                os.close(lock)


def _locked(folder: Path) -> int | None:
    """A lock on a folder, to be closed; None where there are no such locks (Windows, some network
    drives). Raises `BlockingIOError` when another process holds it."""
    try:
        import fcntl
    except ImportError:
        return None
    lock = os.open(folder, os.O_RDONLY)
    try:
        fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError as error:
        os.close(lock)
        if isinstance(error, BlockingIOError):
            raise
        return None
    return lock


def _settle(folder: Path) -> None:
    """Waits until a folder and its files are on the disk."""
    if sys.platform == "win32":  # folders cannot be opened there
        return
    for path in (*folder.rglob("*"), folder):
        file = os.open(path, os.O_RDONLY)
        try:
            os.fsync(file)
        finally:
            os.close(file)


def _aside(folder: Path) -> Path:
    return folder.with_name(f".{folder.name}.old")


def _exchange(one: Path, other: Path) -> bool:
    """Swaps two folders' names in one step where the kernel can (Linux renameat2 with
    RENAME_EXCHANGE)."""
    if sys.platform != "linux":
        return False
    try:
        call = ctypes.CDLL(None, use_errno=True).renameat2
    except (OSError, AttributeError):
        return False
    at_cwd = -100
    swap = 2
    failed: int = call(at_cwd, os.fsencode(one), at_cwd, os.fsencode(other), swap)
    return failed == 0


def _unwritable(folder: Path, error: OSError) -> InputError:
    why = " ".join(str(error.strerror or error).split())
    message = f"cannot be written: {why}; name another with --out"
    return InputError(Finding("error", "unwritable", message, file=str(folder)))
