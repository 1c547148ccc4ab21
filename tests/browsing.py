"""Debian's Chromium, driven by playwright, for the tests of pages; without one they skip
(GEOTURF_NEED_BROWSER=1: they fail)."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

sync_api = pytest.importorskip("playwright.sync_api")
CHROMIUM = shutil.which("chromium") or "/usr/bin/chromium"
QUIET = (
    "--no-sandbox --disable-gpu --disable-background-networking --disable-component-update "
    "--disable-sync"
)
NEEDS_BROWSER = [
    pytest.mark.browser,
    pytest.mark.skipif(
        not Path(CHROMIUM).exists() and not os.environ.get("GEOTURF_NEED_BROWSER"),
        reason="no Chromium on this machine",
    ),
]


@contextmanager
def started() -> Iterator[Any]:
    """A browser with nothing of its own to ask of the network."""
    with sync_api.sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=CHROMIUM, args=QUIET.split())
        yield browser
        browser.close()
