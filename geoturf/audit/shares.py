"""What each site bears of the price: of every line what it takes of it, with the line's loads."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from geoturf.audit import books
from geoturf.audit.folder import Folder, Table, plain
from geoturf.audit.money import base_of, is_general, kind_of, strangers, titles_of_turf
from geoturf.audit.told import Floats, Told, between, unseen

_COST = ("waste", "contingency", "sales tax")
_HALF = 0.0051  # of the last decimal of a net quantity
_CENTS = 0.05  # shares are whole cents, of some rounded sums


def promises(folder: Folder) -> Iterator[Told]:
    """Prices of sites, each to what the quantities' decimals allow."""
    products = folder.settings["products"]
    if len({one["title"] or name for name, one in products.items()}) < len(products):
        yield unseen("price of a site", "several products have one title")
        return
    if new := strangers(folder):
        yield unseen("price of a site", f"the audit does not know {new}")
        return
    if not folder.has("materials_by_site") and (folder.laid & ~folder.placed).any():
        yield unseen("price of a site", "of so many sites there is no takeoff of each")
        return
    bid = folder.table("bid")
    sites = folder.table("sites")
    lines = bid.rows()
    names = sites.text("site")
    under = books.of_phases(folder)
    loads = {name: _loads(folder, name) for name in set(under.values())}
    takes = _Takes(folder, names)
    own = np.zeros(len(names))
    room = np.full(len(names), _CENTS)
    turf = titles_of_turf(folder)
    for line in lines:
        if is_general(line):
            continue
        price = (
            float(line["amount"])
            * loads[under[line["phase"]]][kind_of(line, folder.settings, turf)]
        )
        part, off = takes.of(line["phase"], base_of(line))
        own += price * part
        room += abs(price) * off
    told = [f"site {name}" for name in names]
    prices = sites.numbers("price")
    yield between("price of a site", "prices of sites", told, prices, own - room, own + room)


def _loads(folder: Folder, book: str) -> dict[str, float]:
    """Price over direct cost of a line under a price book, by its kind: each step in proportion to
    what it is on."""
    table = books.steps(folder, book)
    steps = zip(table.text("step"), table.numbers("base"), table.numbers("amount"), strict=True)
    part = {step: amount / base if base else 0.0 for step, base, amount in steps}
    whole = table.numbers("subtotal")
    before = whole[-1] - table.numbers("amount")[-1]
    taxed = ("material", "plant") if folder.settings["price"]["tax_on_plant"] else ("material",)
    loads = {}
    for kind in ("material", "labour", "plant", "service"):
        work = 1 + (part["waste"] if kind == "material" else 0.0)
        tax = 0.0
        if kind in taxed:
            tax = work * part["sales tax"]
        cost = work * (1 + part["contingency"]) + tax
        for step in ("overhead", "profit", "bond"):
            cost *= 1 + part[step]
        loads[kind] = cost * (whole[-1] / before if before else 1.0)
    return loads


class _Takes:
    """What sites take of a line of a phase, as parts of the whole."""

    def __init__(self, folder: Folder, sites: list[str]):
        self.place = {name: k for k, name in enumerate(sites)}
        self.by_item = self._by_item(folder.table("materials_by_site"))
        self.areas = folder.table("areas")
        self.at = np.array([self.place[name] for name in self.areas.text("site")], np.intp)
        self.phase = np.array(self.areas.text("phase"), object)
        self.product = np.array(self.areas.text("product"), object)
        self.turf = self.areas.si("turf_bought")
        self.surface = self.areas.si("surface_area") * folder.laid
        products = folder.settings["products"]
        self.titles = {name: plain(one["title"] or name) for name, one in products.items()}
        own = [folder.settings["price"], *folder.settings["books"].values()]
        extras = [one for table in own for one in table["extras"] or ()]
        self.a_site = {plain(one["title"]) for one in extras if one["price"]["unit"] == "site"}

    def _by_item(self, table: Table) -> dict[tuple[str, str], Floats]:
        found: dict[tuple[str, str], Floats] = {}
        texts = (table.text(name) for name in ("phase", "item", "site"))
        for phase, item, site, net in zip(*texts, table.numbers("net_quantity"), strict=True):
            column = found.setdefault((phase, item), np.zeros(len(self.place)))
            column[self.place[site]] += net
        return found

    def of(self, phase: str, title: str) -> tuple[Floats, Floats]:
        """Parts (sites,), and what each may be off."""
        mine = self.phase == phase
        laid = mine & np.array([self.titles.get(name) == title for name in self.product], bool)
        if laid.any():
            return self._parts(self._summed(self.turf * laid), 5e-3)
        net = self.by_item.get((phase, title))
        if net is not None and net.any():
            return self._parts(net, _HALF)
        if title in self.a_site:
            return self._parts((self._summed(self.surface * mine) > 0).astype(float), 0.0)
        return self._parts(self._summed(self.surface * mine), 5e-3)

    def _summed(self, values: Floats) -> Floats:
        return np.asarray(np.bincount(self.at, values, len(self.place)), float)

    def _parts(self, net: Floats, half: float) -> tuple[Floats, Floats]:
        whole = float(net.sum()) or 1.0
        some = int((net > 0).sum())
        return net / whole, (half * (net > 0) + net / whole * half * np.sqrt(some)) / whole
