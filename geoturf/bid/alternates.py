"""The bid with something changed: alternates accepted, every lot bought alone, or a price book
opened. Each is a bid that could be run."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from itertools import combinations
from typing import TYPE_CHECKING, Any, NamedTuple

if TYPE_CHECKING:
    from geoturf.bid import Bid
    from geoturf.model import Ground
    from geoturf.rules.price import Alternate, PriceRules


class Choice(NamedTuple):
    """Alternates accepted together: their numbers, from 1, and themselves."""

    numbers: tuple[int, ...]
    alternates: tuple[Alternate, ...]

    def title(self) -> str:
        """As a client reads it."""
        return " + ".join(one.title for one in self.alternates)

    def products(self) -> dict[str, str]:
        """The turf that is laid in place of other turf."""
        return {old: new for one in self.alternates for old, new in one.products.items()}


def choices(rules: PriceRules) -> list[Choice]:
    """What the client may accept: each alternate, then the combinations that the bid asks for; of
    all combinations, those whose alternates can stand together."""
    numbers = range(1, len(rules.alternates) + 1)
    asked: list[tuple[int, ...]] = [(number,) for number in numbers]
    if rules.combine == "all":
        every = (set_ for size in numbers[1:] for set_ in combinations(numbers, size))
        asked += [some for some in every if not clash(_choice(rules, some))]
    elif rules.combine != "none":
        asked += rules.combine
    return [_choice(rules, some) for some in asked]


def _choice(rules: PriceRules, numbers: tuple[int, ...]) -> Choice:
    return Choice(numbers, tuple(rules.alternates[number - 1] for number in numbers))


def clash(choice: Choice) -> str:
    """The rule that two alternates change to different values; "" where they can stand together."""
    said: dict[str, object] = {}
    for one in choice.alternates:
        for name, value in _said(one):
            if said.setdefault(name, value) != value:
                return name
    return ""


def _said(one: Alternate) -> Iterator[tuple[str, object]]:
    """Every rule that an alternate changes, by name, and to what."""
    yield from ((f"products.{name}", new) for name, new in one.products.items())
    yield from ((f"costs.{name}", money) for name, money in one.costs.items())
    yield from ((name, "left out") for name in one.leave_out)
    yield from ((name, "added") for name in one.add)
    yield from ((f"change.{name}", value) for name, value in _leaves(one.change))


def _leaves(tables: Mapping[str, Any], prefix: str = "") -> Iterator[tuple[str, object]]:
    for name, value in tables.items():
        if isinstance(value, Mapping):
            yield from _leaves(value, f"{prefix}{name}.")
        else:
            yield prefix + name, value


def accepted(bid: Bid, choice: Choice) -> Bid:
    """The bid with some alternates' rules and costs, and without or with their items. Their turf
    lies on the ground, which is changed there."""
    tables = bid.given
    for one in choice.alternates:
        tables = _merged(tables, one.change)
    if any(one.change for one in choice.alternates):
        ruled = {name: table for name, table in tables.items() if name != "ranges"}
        bid = type(bid).model_validate(ruled | {"given": tables})
    price = bid.price.model_copy(update={"alternates": (), "combine": "none"})
    bid = bid.model_copy(update={"price": price})
    for one in choice.alternates:
        bid = _accepted(bid, one)
    return bid


def _merged(tables: Mapping[str, Any], change: Mapping[str, Any]) -> dict[str, Any]:
    """Tables with others laid over them, key by key; lists and values are replaced."""
    over = {
        name: _merged(tables.get(name) or {}, value) if isinstance(value, Mapping) else value
        for name, value in change.items()
    }
    return {**tables, **over}


def _accepted(bid: Bid, one: Alternate) -> Bid:
    """The bid with the costs of one alternate, and its items left out or added."""
    costs = bid.price.costs.model_copy(update=one.costs)
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
        "price": bid.price.model_copy(update={"costs": costs}),
        "books": books,
        "materials": bid.materials.model_copy(update=materials),
        "edges": bid.edges.model_copy(update=edges),
    }
    return bid.model_copy(update=changed)


def booked(bid: Bid, name: str) -> Bid:
    """The bid at the prices of one of its books; as it stands for "", which is its own."""
    if not name:
        return bid
    book = bid.books[name]
    costs = bid.price.costs.model_copy(update=book.costs)
    rates = bid.materials.rates.model_copy(update=book.own_rates())
    ordered = {  # terms of orders go with the bid's own unit costs
        table: {key: one for key, one in getattr(bid.price, table).items() if key not in book.costs}
        for table in ("breaks", "least", "hire")
    }
    price = bid.price.model_copy(
        update={
            "costs": costs,
            **ordered,
            **book.own_steps(),
        }
    )
    materials = bid.materials.model_copy(update={"rates": rates})
    return bid.model_copy(update={"price": price, "materials": materials})


def bought_alone(bid: Bid, ground: Ground) -> Bid:
    """The bid with every lot on ``ground`` bought alone: the very bid where that is so already."""
    if _lots_share(bid, ground):
        return lot_by_lot(bid)
    return bid


def _lots_share(bid: Bid, ground: Ground) -> bool:
    """Whether any two lots share rolls or packages; so too where areas of a lot share no rolls, or
    lots carry them about, which `lot_by_lot` leaves, and where turf is estimated, whose site its
    pool alone tells."""
    if bid.cuts.pool == "area" or bid.cuts.on_site or len(ground.laid) < len(ground.areas):
        return True
    if bid.cuts.pool == bid.materials.pool == "site":
        return False
    lots = ground.areas.groupby("phase", sort=False)["site"].nunique()
    return bool(lots.gt(1).any())


def lot_by_lot(bid: Bid) -> Bid:
    """The bid with rolls and packages shared within a site alone. That is some thousand small pools
    for one figure beside the price, so they are cut quickly, but where the bid asks for more."""
    effort = "quick"
    if bid.cuts.effort == "thorough":
        effort = bid.cuts.effort
    cuts = bid.cuts.model_copy(update={"pool": "site", "effort": effort})
    materials = bid.materials.model_copy(update={"pool": "site"})
    return bid.model_copy(update={"cuts": cuts, "materials": materials})
