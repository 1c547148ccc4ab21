"""The report folder, written whole or not at all.

Everything is written into a hidden folder beside the wanted one, which then takes its place in one step: where the system can
exchange two names at once (Linux), a run killed at any moment leaves the old folder or the new one; elsewhere the old folder is
moved aside first, and the next run puts it back if that is where the last one died.
"""

from __future__ import annotations

import ctypes
import glob
import os
import shutil
import sys
import tempfile
import time
from pathlib import Path

from geoturf.errors import InputError
from geoturf.model import Finding, Result

_MARK = "run.json"  # a folder that holds one is ours to replace


def write(result: Result, folder: str | Path) -> None:
    """Every output in ``folder``. Raises `InputError` when the folder holds other things or cannot be written."""
    from geoturf import maps, tables, workbook

    folder = Path(folder)
    refuse_foreign(folder)
    try:
        folder.parent.mkdir(parents=True, exist_ok=True)
        _sweep(folder)
        fresh = Path(tempfile.mkdtemp(prefix=f".{folder.name}.", suffix=".part", dir=folder.parent))
    except OSError as error:
        raise _unwritable(folder, error) from None
    try:
        tables.write(result, fresh)
        workbook.write(result, fresh / "bid.xlsx")
        (fresh / "map.html").write_text(maps.page(result, result.bid.units), encoding="utf-8")
        (fresh / "client").mkdir()
        for_client = maps.page(result, result.bid.units, maps.CLIENT)
        (fresh / "client" / "map.html").write_text(for_client, encoding="utf-8")
        if result.water is not None:
            from geoturf import planner

            (fresh / "planner.html").write_text(planner.page(result), encoding="utf-8")
        tables.write_run(result, fresh)  # last: its presence says that the folder is complete
        fresh.chmod(0o755)
        _put_in_place(fresh, folder)
    except OSError as error:
        raise _unwritable(folder, error) from None
    finally:
        shutil.rmtree(fresh, ignore_errors=True)


def refuse_foreign(folder: str | Path) -> None:
    """Raises `InputError` when ``folder`` is a file, or holds things that no run of geoturf wrote. Mends a half-moved folder."""
    folder = Path(folder)
    aside = _aside(folder)
    if aside.exists() and not folder.exists():
        aside.rename(folder)
    if folder.is_dir() and (not any(folder.iterdir()) or _is_ours(folder)):
        return
    if folder.exists():
        what = "holds files that geoturf did not write" if folder.is_dir() else "is a file"
        raise InputError(
            Finding("error", "foreign-folder", f"{what}; name another folder with --out", file=str(folder))
        )


def _is_ours(folder: Path) -> bool:
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
        fresh.rename(folder)
        shutil.rmtree(aside, ignore_errors=True)


def _sweep(folder: Path) -> None:
    """Removes what runs killed over an hour ago left half written beside ``folder``; younger ones may still be at work."""
    for left in folder.parent.glob(f".{glob.escape(folder.name)}.*.part"):
        if time.time() - left.stat().st_mtime > 3600:
            shutil.rmtree(left, ignore_errors=True)


def _aside(folder: Path) -> Path:
    return folder.with_name(f".{folder.name}.old")


def _exchange(one: Path, other: Path) -> bool:
    """Swaps two folders' names in one step where the kernel can (Linux renameat2 with RENAME_EXCHANGE)."""
    if sys.platform != "linux":
        return False
    try:
        call = ctypes.CDLL(None, use_errno=True).renameat2
    except (OSError, AttributeError):
        return False
    at_cwd, swap = -100, 2
    return call(at_cwd, os.fsencode(one), at_cwd, os.fsencode(other), swap) == 0


def _unwritable(folder: Path, error: OSError) -> InputError:
    return InputError(
        Finding(
            "error",
            "unwritable",
            f"cannot be written: {error.strerror or error}; name another with --out",
            file=str(folder),
        )
    )
