"""The map of a bid: one page that opens from disk with no network.

frame.py     the page, its scripts and styles inside it, and what it may do
content.py   what is shown, as plain data
figures.py   the figures of the side panel
colours.py   what areas can be coloured by
encode.py    numbers and shapes as short text
web/         the page's own script and style
"""

from __future__ import annotations

from dataclasses import replace

from geoturf.maps import content, frame
from geoturf.model import Result


def page(result: Result, units: str) -> str:
    """The text of map.html, with ``units`` "us" or "metric". Text from the data stays text: it goes into JSON blocks that no
    template renders and no browser runs, and from there into the page as text nodes."""
    shown = replace(result, bid=result.bid.model_copy(update={"units": units}))
    return frame.page(f"{result.bid.name}: map", content.islands(shown), result.bid.base_map)
