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

from collections.abc import Iterable, Iterator
from dataclasses import replace

from geoturf.maps import content, frame
from geoturf.maps.audience import CLIENT, OFFICE, Audience
from geoturf.model import Result
from geoturf.staying import everywhere

__all__ = ["CLIENT", "OFFICE", "page", "pages"]


def page(result: Result, units: str, audience: Audience = OFFICE) -> str:
    """The text of a map.html, with ``units`` "us" or "metric". Text from the data stays text: it
    goes into JSON blocks that no template renders and no browser runs, and from there into the
    page as text nodes."""
    return next(pages(result, units, (audience,)))


def pages(result: Result, units: str, audiences: Iterable[Audience]) -> Iterator[str]:
    """A `page` for each audience; what they see alike is worked out once."""
    shown = replace(result, bid=result.bid.model_copy(update={"units": units}))
    alike = content.Alike(everywhere(shown))
    for audience in audiences:
        islands = content.islands(shown, audience, alike)
        yield frame.page(islands["geoturf-bid"]["title"], islands, result.bid.base_map)
