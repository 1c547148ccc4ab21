"""Who a paper is from and to: the head of every paper that leaves the house."""

from __future__ import annotations

import datetime
from typing import TYPE_CHECKING, Any

from geoturf import read
from geoturf.errors import BidError
from geoturf.model import Finding

if TYPE_CHECKING:
    from geoturf.bid import Bid

_MONTHS = (
    *("January", "February", "March", "April", "May", "June", "July"),
    *("August", "September", "October", "November", "December"),
)


def head(bid: Bid) -> dict[str, Any]:
    """What ``letterhead`` of ``type/house.typ`` takes, and the page. Raises `BidError` where the
    logo is not safe to draw."""
    bidder = bid.bidder
    client = bid.client
    terms = bid.terms
    return {
        "page": bid.page,
        "logo": _picture(bid),
        "bidder": {
            "name": bidder.name,
            "lines": [*bidder.address, *bidder.contact],
            "licence": bidder.licence,
        },
        "client": {"name": client.name, "lines": [*client.address, *client.contact]},
        "date": day(terms.date, bid.units),
    }


def day(date: datetime.date | None, units: str) -> str:
    """``March 31, 2026`` for a bid in US units, ``31 March 2026`` for a metric one; "" of none."""
    if date is None:
        return ""
    month = _MONTHS[date.month - 1]
    if units == "us":
        return f"{month} {date.day}, {date.year}"
    return f"{date.day} {month} {date.year}"


def _picture(bid: Bid) -> dict[str, Any] | None:
    if not bid.bidder.logo:
        return None
    found = read.logo(bid.folder, bid.bidder.logo)
    return {"kind": found.kind, "bytes": found.content}


def undrawable(bid: Bid) -> BidError:
    """What is said of a logo that reads as a picture and yet cannot be drawn."""
    message = "bidder.logo: is damaged, or of a kind that cannot be drawn; save it anew as PNG"
    return BidError(Finding("error", "bad-logo", message, file=bid.bidder.logo))
