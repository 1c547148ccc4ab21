"""The map of a bid, for the office or for the client: one page that opens from disk with no
network.

frame.py     the page, its scripts and styles inside it, and what it may do
content.py   what is shown, as plain data
audience.py  who gets what of it
figures.py   the figures of the side panel
colours.py   what areas can be coloured by
encode.py    numbers and shapes as short text
web/         the page's own script and style
"""

from __future__ import annotations

from dataclasses import replace

from geoturf.maps import content, frame
from geoturf.maps.audience import CLIENT, OFFICE, Audience
from geoturf.model import Result

__all__ = ["CLIENT", "OFFICE", "page"]


def page(result: Result, units: str, audience: Audience = OFFICE) -> str:
    """The text of a map.html, with ``units`` "us" or "metric". Text from the data stays text: it
    goes into JSON blocks that no template renders and no browser runs, and from there into the
    page as text nodes."""
    shown = replace(result, bid=result.bid.model_copy(update={"units": units}))
    islands = content.islands(shown, audience)
    return frame.page(islands["geoturf-bid"]["title"], islands, result.bid.base_map)
