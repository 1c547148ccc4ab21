"""The bid with one thing changed: an alternate accepted, every lot bought alone, or a price book
opened. Each is a bid that could be run."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from geoturf.bid import Bid
    from geoturf.rules.price import Alternate


def accepted(bid: Bid, one: Alternate) -> Bid:
    """The bid with an alternate's costs, and without or with its items. Its turf lies on the
    ground, which is changed there."""
    price = bid.price.model_copy(
        update={"costs": bid.price.costs.model_copy(update=one.costs), "alternates": ()}
    )
    left = [key for key in bid.materials.leave_out if key not in one.add]
    materials: dict[str, object] = {"leave_out": tuple(dict.fromkeys((*left, *one.leave_out)))}
    edges: dict[str, object] = {}
    if "geotextile" in one.add:
        materials["fabric_below_base"] = True
    if "edging" in one.add:
        edges["edging_on"] = tuple(dict.fromkeys((*bid.edges.edging_on, "open")))
    books = {
        name: book.model_copy(update={"costs": book.costs | one.costs})
        for name, book in bid.books.items()
    }
    changed = {
        "books": books,
        "materials": bid.materials.model_copy(update=materials),
        "edges": bid.edges.model_copy(update=edges),
    }
    return bid.model_copy(update={"price": price, **changed})


def booked(bid: Bid, name: str) -> Bid:
    """The bid at the prices of one of its books; as it stands for "", which is its own."""
    if not name:
        return bid
    book = bid.books[name]
    costs = bid.price.costs.model_copy(update=book.costs)
    rates = bid.materials.rates.model_copy(update=book.own_rates())
    price = bid.price.model_copy(update={"costs": costs, **book.own_steps()})
    materials = bid.materials.model_copy(update={"rates": rates})
    return bid.model_copy(update={"price": price, "materials": materials})


def lot_by_lot(bid: Bid) -> Bid:
    """The bid with rolls and packages shared within a site alone. That is some thousand small pools
    for one figure beside the price, so they are cut quickly, but where the bid asks for more."""
    effort = bid.cuts.effort if bid.cuts.effort == "thorough" else "quick"
    cuts = bid.cuts.model_copy(update={"pool": "site", "effort": effort})
    materials = bid.materials.model_copy(update={"pool": "site"})
    return bid.model_copy(update={"cuts": cuts, "materials": materials})
