"""The price by the bid's own numbers, in decimals: lines from orders and unit costs, the build-up
from lines and rates, and the same price whichever way it is shared out."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from decimal import ROUND_HALF_UP, Decimal
from typing import Any

from geoturf.audit import books
from geoturf.audit.factors import UNITS
from geoturf.audit.folder import Folder, Table, plain
from geoturf.audit.items import ITEMS
from geoturf.audit.told import Told, first_wrong, unseen

_CENT = Decimal("0.01")
_GENERAL = "01 00 00"
#: columns of the schedule of values that make up its price, with the amount
_LOADS = ("waste", "contingency", "sales_tax", "overhead", "profit", "bond", "minimum_charge")
#: steps of the build-up: the rule that is the rate, and what it is reckoned on
_STEPS = {
    "waste": "waste",
    "contingency": "contingency",
    "sales tax": "sales_tax",
    "overhead": "overhead",
    "profit": "profit",
    "bond": "bond",
}


def promises(folder: Folder) -> Iterator[Told]:
    bid = folder.table("bid")
    lines = bid.rows()
    yield _amounts(lines)
    yield from _lines(folder, lines)
    yield from _build_up(folder, lines)
    yield from _shares(folder, lines)
    if folder.has("alternates"):
        yield from _alternates(folder, lines)


def _cents(value: Decimal) -> Decimal:
    return value.quantize(_CENT, ROUND_HALF_UP)


def _decimal(text: str) -> Decimal:
    return Decimal(text or "0")


def _amounts(lines: list[dict[str, str]]) -> Told:
    wrong = []
    for line in lines:
        own = _cents(_decimal(line["quantity"]) * _decimal(line["unit_price"]))
        if own != _decimal(line["amount"]):
            wrong.append(
                f"line {line['line']}: {line['amount']} is not {own}, quantity x unit price"
            )
    return first_wrong("amounts", "quantity x unit price of lines", wrong, len(lines))


# ------------------------------------------------------------------------------------------ lines


def _lines(folder: Folder, lines: list[dict[str, str]]) -> Iterator[Told]:
    """Every order of a thing that costs has its line, of that quantity and at the bid's unit
    cost."""
    settings = folder.settings
    table = folder.table("materials")
    under = {f"phase {phase}": book for phase, book in books.of_phases(folder).items()}
    of_book = {name: books.prices(settings, name) for name in ("", *settings["books"])}
    by_line: dict[tuple[str, str], list[dict[str, str]]] = {}
    for line in lines:
        by_line.setdefault((f"phase {line['phase']}", base_of(line)), []).append(line)
    titles = _turf_by_title(settings["products"])
    wrong = []
    count = 0
    texts = (table.text(name) for name in ("scope", "item", "unit", "order_unit"))
    numbers = (table.numbers(name) for name in ("order_quantity", "order_size"))
    for scope, item, unit, order_unit, order, size in zip(*texts, *numbers, strict=True):
        if scope == "bid":
            continue
        rules = of_book[under.get(scope, "")]
        prices = _prices(item, rules, titles)
        if not prices or not order:
            continue
        count += 1
        own = [one for one in by_line.get((scope, item), []) if not is_least(one)]
        fault = _off(own, prices, order, order_unit, size, unit, item)
        fault = fault or _by_size(own, item, order, rules, settings["products"])
        wrong += [f"{scope}, {item}: {fault}"] if fault else []
    yield first_wrong("unit costs", "lines by the bid's unit costs", wrong, count)
    of_scope = {scope: of_book[book] for scope, book in under.items()}
    yield _least_orders(lines, of_scope, settings["products"])
    ordered = set(zip(table.text("scope"), table.text("item"), strict=True))
    extra = [one["title"] for rules in of_book.values() for one in rules["extras"]]
    strange = [
        f"line {line['line']}, {line['description']}, is of nothing that is ordered"
        for line in lines
        if line["section"] != _GENERAL
        and (f"phase {line['phase']}", base_of(line)) not in ordered
        and line["description"] not in map(plain, extra)
    ]
    yield first_wrong("lines", "lines of what is ordered", strange, len(lines))


def _by_size(
    found: list[dict[str, str]],
    item: str,
    order: float,
    rules: dict[str, Any],
    products: dict[str, Any],
) -> str:
    """Why lines are not at the price of an order of their size; "" where they are. Hire is the
    cheapest mix of weeks and days, of all there are; a break holds from its quantity on."""
    key = ""
    if item in ITEMS:
        key = ITEMS[item][1]
    day = rules["costs"].get(key)
    week = rules["hire"].get(key)
    if day and week:
        days = int(order)
        covers = rules["hire_days"]
        mixes = (
            weeks * Decimal(week["amount"]) + max(0, days - weeks * covers) * Decimal(day["amount"])
            for weeks in range(days // covers + 2)
        )
        told = sum((_decimal(one["amount"]) for one in found), Decimal(0))
        least = _cents(min(mixes))
        if told == least:
            return ""
        return f"is hired for {told}, where {least} would do"
    turf = [one for name, one in products.items() if plain(one["title"] or name) == item]
    breaks = (
        rules["breaks"].get(key, []) if item in ITEMS else [b for t in turf for b in t["breaks"]]
    )
    below = [day] if item in ITEMS else [one["price"] for one in turf]
    every = {Decimal(one["amount"]) for one in (*below, *(b["price"] for b in breaks))}
    for line in found if breaks and len(below) == 1 else []:
        reached = [
            b["price"] for b in breaks if _decimal(line["quantity"]) >= Decimal(str(b["at_least"]))
        ]
        due = Decimal([*below, *reached][-1]["amount"])
        if _decimal(line["unit_price"]) in every - {due}:
            return f"priced at {line['unit_price']}, where so much is {due} each"
    return ""


def _least_orders(
    lines: list[dict[str, str]], of_scope: dict[str, dict[str, Any]], products: dict[str, Any]
) -> Told:
    """Orders of a phase come to the least that they are charged; ``of_scope``: its prices."""
    wrong = []
    count = 0
    costs = {key: money for rules in of_scope.values() for key, money in rules["least"].items()}
    leasts = [
        (key, money, {title for title, item in ITEMS.items() if item[1] == key})
        for key, money in costs.items()
    ] + [
        (name, turf["least_charge"], {plain(turf["title"] or name)})
        for name, turf in products.items()
        if turf.get("least_charge")
    ]
    for key, money, titles in leasts:
        sums: dict[str, list[Decimal]] = {}
        for line in lines:
            held = of_scope.get(f"phase {line['phase']}", {}).get("least", {})
            if base_of(line) in titles and (key in held or key in products):
                own = sums.setdefault(line["phase"], [Decimal(0), Decimal(0)])
                own[is_least(line)] += _decimal(line["amount"])
        for phase, (bought, filled) in sums.items():
            count += 1
            due = max(Decimal(0), _cents(Decimal(money["amount"])) - bought)
            if filled != due:
                wrong.append(f"phase {phase}, {key}: filled up by {filled}, {due} are short")
    return first_wrong("least orders", "least orders", wrong, count)


def titles_of_turf(folder: Folder) -> set[str]:
    """What lines of turf are called."""
    return set(_turf_by_title(folder.settings["products"]))


def _turf_by_title(products: dict[str, Any]) -> dict[str, list[dict[str, Any]]]:
    titles: dict[str, list[dict[str, Any]]] = {}
    for name, turf in products.items():
        prices = [turf["price"], *(more["price"] for more in turf["more_rolls"])]
        prices += [one["price"] for one in turf.get("breaks") or ()]
        titles.setdefault(plain(turf["title"] or name), []).extend(p for p in prices if p)
    return titles


def _prices(item: str, rules: dict[str, Any], turf: dict[str, list[dict[str, Any]]]) -> list[Any]:
    """What an item may cost, by its breaks and by the week too; nothing where the bid has no cost
    for it."""
    if item in turf and item not in ITEMS:
        return turf[item]
    key = ""
    if item in ITEMS:
        key = ITEMS[item][1]
    money = rules["costs"].get(key)
    breaks = (rules.get("breaks") or {}).get(key, ())
    week = (rules.get("hire") or {}).get(key)
    others = [*(one["price"] for one in breaks), *([week] if week else [])]
    if money:
        return [money, *others]
    return []


_LEAST = re.compile(r"Least order of [^:]*: ")
_HIRED = ", by the week"


def is_least(line: dict[str, str]) -> bool:
    """What an order falls short of the least that is charged for one."""
    return _LEAST.match(line["description"]) is not None


def base_of(line: dict[str, str]) -> str:
    """The item that a line is of."""
    return _LEAST.sub("", line["description"], count=1).removesuffix(_HIRED)


def _off(
    found: list[dict[str, str]],
    prices: list[dict[str, Any]],
    order: float,
    order_unit: str,
    size: float,
    unit: str,
    item: str,
) -> str:
    """What is wrong with the line of an order; "" where nothing is."""
    if not found:
        return "is ordered and has no price line"
    known = {(Decimal(p["amount"]), p["unit"]): p for p in prices}
    for line in found:
        money = known.get((_decimal(line["unit_price"]), line["unit"]))
        if money is None:
            wanted = " or ".join(f"{p['amount']} {p['currency']}/{p['unit']}" for p in prices)
            return f"priced at {line['unit_price']} a {line['unit']}, where the bid says {wanted}"
        counted = money["dimension"] is None and item in ITEMS
        if money["unit"] == order_unit or counted:
            each = 1.0
            room = 0.0
        elif money["unit"] in UNITS and unit in UNITS and money["unit"] not in ("ft", "m", "each"):
            each = size * UNITS[unit] / UNITS[money["unit"]]
            room = 6e-4 * UNITS[unit] / UNITS[money["unit"]]
        else:
            continue
        quantity = float(_decimal(line["quantity"]))
        if len(found) == 1 and abs(quantity - order * each) > order * room + 0.006:
            return f"{quantity:,.2f} {money['unit']} priced, {order * each:,.2f} ordered"
    return ""


# ----------------------------------------------------------------------------------------- build-up


def kind_of(line: dict[str, str], settings: dict[str, Any], turf: set[str]) -> str:
    """Material, labour, plant or service."""
    item = base_of(line)
    if item in ITEMS and item not in turf:
        return ITEMS[item][0]
    tables = [settings["price"], *settings["books"].values()]
    extras = {plain(one["title"]): one["kind"] for own in tables for one in own["extras"] or ()}
    if line["description"] in extras:
        return str(extras[line["description"]])
    return "material" if item in turf else "service"


def strangers(folder: Folder) -> str:
    """Items of the takeoff that this program has not been taught, so that it cannot tell whether
    they are taxed; "" where there are none."""
    turf = titles_of_turf(folder)
    named = dict.fromkeys(folder.table("materials").text("item"))
    return ", ".join(name for name in named if name not in ITEMS and name not in turf)


def _build_up(folder: Folder, lines: list[dict[str, str]]) -> Iterator[Told]:
    """Waste, contingency, sales tax, overhead, profit, bond and least price, by the bid's rates."""
    if new := strangers(folder):
        yield unseen("build-up", f"the audit does not know {new}")
        return
    wrong = []
    general = Decimal(0)
    count = 0
    of = books.of_phases(folder)
    for name in dict.fromkeys(of.values()):
        own = _steps(folder, [one for one in lines if of.get(one["phase"]) == name], name)
        table = books.steps(folder, name)
        told = dict(zip(table.text("step"), table.money("amount"), strict=True))
        count += len(own)
        general += sum(own.values(), Decimal(0))
        wrong += [
            f"{step} is told {told.get(step)}, reckoned {cents}"
            for step, cents in own.items()
            if told.get(step) != cents
        ]
    yield first_wrong("build-up", "steps by the bid's rates", wrong, count)
    carried = [_decimal(line["amount"]) for line in lines if is_general(line)]
    apart = general - sum(carried, Decimal(0))
    wrong = [f"bid.csv carries {apart} less of the build-up than its rates give"] if apart else []
    yield first_wrong("build-up's lines", "lines of the build-up", wrong, len(carried))


def _steps(folder: Folder, work: list[dict[str, str]], book: str) -> dict[str, Decimal]:
    """Each step on the lines of the phases under a price book."""
    settings = folder.settings
    rules = books.prices(settings, book)
    turf = set(_turf_by_title(settings["products"]))
    taxed = ("material", "plant") if rules["tax_on_plant"] else ("material",)
    sums = {kind: Decimal(0) for kind in ("material", "labour", "plant", "service")}
    for line in work:
        sums[kind_of(line, settings, turf)] += _decimal(line["amount"])
    so_far = sum(sums.values(), Decimal(0))
    waste = Decimal(0)
    own = {}
    for step, rule in _STEPS.items():
        base = {"waste": sums["material"], "sales tax": waste + sum(sums[k] for k in taxed)}.get(
            step, so_far
        )
        own[step] = _by_scale(base, rules[rule], rules["bond_scale"] if step == "bond" else [])
        waste = own[step] if step == "waste" else waste
        so_far += own[step]
    least = Decimal(rules["minimum"]["amount"]) if rules["minimum"] else Decimal(0)
    own["minimum charge"] = max(Decimal(0), _cents(least) - so_far) if so_far else Decimal(0)
    return own


def is_general(line: dict[str, str]) -> bool:
    """A step of the build-up: of no phase."""
    return line["section"] == _GENERAL and not line["phase"]


def _by_scale(base: Decimal, rate: float, scale: Iterable[dict[str, Any]]) -> Decimal:
    """Each bracket's rate of what lies in it, the rate of the rest."""
    due = Decimal(0)
    below = Decimal(0)
    for one in scale:
        top = Decimal(one["up_to"]["amount"])
        due += max(Decimal(0), min(base, top) - below) * Decimal(str(one["rate"]))
        below = max(below, top)
    return _cents(due + max(Decimal(0), base - below) * Decimal(str(rate)))


# ------------------------------------------------------------------------------------------ shares


def _shares(folder: Folder, lines: list[dict[str, str]]) -> Iterator[Told]:
    """The price, by line, phase, site, area, section, pay item and in the client's table."""
    price = sum((_decimal(line["amount"]) for line in lines), Decimal(0))
    areas, sites, phases = (folder.table(name) for name in ("areas", "sites", "phases"))
    sums = {
        "the phases' prices": sum(phases.money("price"), Decimal(0)),
        "the sites' prices": sum(sites.money("price"), Decimal(0)),
        "the areas' prices": sum(areas.money("price"), Decimal(0)),
        "the schedule of values": sum(folder.table("schedule").money("price"), Decimal(0)),
        "the build-up": _subtotals(folder),
        "run.json": Decimal(str(folder.run["totals"]["price"]).split()[0].replace(",", "")),
        "the schedule of prices": _sum(
            folder.table("schedule_of_prices"), "extension", scope="bid"
        ),
    }
    wrong = [
        f"{what} come to {value}, the lines to {price}"
        for what, value in sums.items()
        if value != price
    ]
    yield first_wrong("one price", "ways to the price", wrong, len(sums))
    yield _grouped(
        "sites", "price of sites", _by(areas, "site", "price"), _by(sites, "site", "price")
    )
    yield _grouped(
        "phases", "price of phases", _by(areas, "phase", "price"), _by(phases, "phase", "price")
    )
    schedule = folder.table("schedule")
    yield _grouped(
        "phases' sections",
        "price of phases",
        _by(schedule, "phase", "price"),
        _by(phases, "phase", "price"),
    )
    costs = sum(sites.money("cost"), Decimal(0)), sum(phases.money("cost"), Decimal(0))
    yield first_wrong(
        "costs",
        "costs of sites and phases",
        [] if costs[0] == costs[1] else [f"sites cost {costs[0]}, phases {costs[1]}"],
        2,
    )
    yield _across(schedule)
    yield _sites_of_one_phase(folder)
    yield _of_phases(folder, lines, phases)
    if (folder.path / "client" / "prices.csv").is_file():
        client = folder.table("client/prices")
        yield _grouped(
            "client's sites",
            "price of sites",
            _by(client, "site", "price", kind="site"),
            _by(sites, "site", "price"),
        )
        yield _grouped(
            "client's phases",
            "price of phases",
            _by(client, "phase", "price", kind="phase"),
            _by(phases, "phase", "price"),
        )
        total = _sum(client, "price", kind="price")
        yield first_wrong(
            "client's price",
            "the client's price",
            [] if total == price else [f"the client is told {total}, the lines come to {price}"],
            1,
        )


def _subtotals(folder: Folder) -> Decimal:
    """Where the build-up ends, that of each price book."""
    names = dict.fromkeys(books.of_phases(folder).values())
    last = [books.steps(folder, name).money("subtotal")[-1] for name in names]
    return sum(last, Decimal(0))


def _across(schedule: Table) -> Told:
    """Each row of the schedule of values adds up to its price."""
    steps = [schedule.money(name) for name in ("amount", *_LOADS) if schedule.has(name)]
    price = schedule.money("price")
    wrong = [
        f"row {k + 1} adds up to {sum(row)}, not to {told}"
        for k, (told, *row) in enumerate(zip(price, *steps, strict=True))
        if sum(row) != told
    ]
    return first_wrong("schedule's rows", "rows of the schedule of values", wrong, len(price))


def _sites_of_one_phase(folder: Folder) -> Told:
    """Costs of the sites that lie in one phase make up no more than that phase's."""
    sites = folder.table("sites")
    phases = folder.table("phases")
    own = _by(sites, "phase", "cost")
    told = _by(phases, "phase", "cost")
    if set(own) != set(told):
        return first_wrong(
            "phases' costs", "costs of phases, whose sites lie in several", [], len(told)
        )
    return _grouped("phases' costs", "cost of phases", own, told)


def _of_phases(folder: Folder, lines: list[dict[str, str]], phases: Table) -> Told:
    """A phase's cost and price against its lines: the direct cost that they come to is its own."""
    direct: dict[str, Decimal] = {}
    for line in lines:
        if not is_general(line):
            direct[line["phase"]] = direct.get(line["phase"], Decimal(0)) + _decimal(line["amount"])
    return _grouped(
        "phases' lines",
        "direct cost of phases",
        direct,
        _by(folder.table("schedule"), "phase", "amount"),
    )


def _sum(table: Table, name: str, **where: str) -> Decimal:
    return sum(_picked(table, name, where), Decimal(0))


def _picked(table: Table, name: str, where: dict[str, str]) -> list[Decimal]:
    keep = [
        all(v == w for v, w in zip(row, where.values(), strict=True))
        for row in zip(*(table.text(k) for k in where), strict=True)
    ]
    return [value for value, kept in zip(table.money(name), keep, strict=True) if kept]


def _by(table: Table, key: str, name: str, **where: str) -> dict[str, Decimal]:
    kinds = table.text("kind") if where else [""] * len(table)
    sums: dict[str, Decimal] = {}
    for kind, one, value in zip(kinds, table.text(key), table.money(name), strict=True):
        if kind == where.get("kind", ""):
            sums[one] = sums.get(one, Decimal(0)) + value
    return sums


def _grouped(promise: str, what: str, own: dict[str, Decimal], told: dict[str, Decimal]) -> Told:
    names = dict.fromkeys((*own, *told))
    wrong = [
        f"{name or 'one'} is told {told.get(name)}, its parts come to {own.get(name)}"
        for name in names
        if told.get(name, Decimal(0)) != own.get(name, Decimal(0))
    ]
    return first_wrong(promise, what, wrong, len(names))


# --------------------------------------------------------------------------------------- alternates


def _alternates(folder: Folder, lines: list[dict[str, str]]) -> Iterator[Told]:
    """What each adds or takes off is its price less the bid's, and its phases and its sites come to
    that."""
    table = folder.table("alternates")
    price = sum((_decimal(line["amount"]) for line in lines), Decimal(0))
    phases, sites = (_by(folder.table(f"{one}s"), one, "price") for one in ("phase", "site"))
    sums: dict[tuple[str, str], list[Decimal]] = {}
    whole: dict[str, tuple[Decimal, Decimal]] = {}
    wrong = []
    texts = (table.text(name) for name in ("alternate", "scope", "line"))
    for title, scope, line, own, off in zip(
        *texts, table.money("price"), table.money("difference"), strict=True
    ):
        if line:
            sums.setdefault((title, f"lines of {scope}"), []).append(off)
            continue
        if scope == "bid":
            whole[title] = own, off
            base: Decimal | None = price
        else:
            kind, _, name = scope.partition(" ")
            base = (phases if kind == "phase" else sites).get(name)
            sums.setdefault((title, f"{kind}s"), []).append(off)
            sums.setdefault((title, f"own {scope}"), []).append(off)
        if base is not None and own - base != off:
            wrong.append(f"{title}, {scope}: {own} less {base} is not {off}")
    yield first_wrong("alternates", "differences of alternates", wrong, len(table))
    apart = []
    for (title, kind), parts in sums.items():
        due = whole.get(title, (Decimal(0), Decimal(0)))[1]
        if kind.startswith("lines of "):
            due = sums.get((title, f"own {kind.removeprefix('lines of ')}"), [due])[0]
        if not kind.startswith("own ") and sum(parts, Decimal(0)) != due:
            apart.append(f"{title}: its {kind} come to {sum(parts, Decimal(0))}, not {due}")
    yield first_wrong("alternates' parts", "sums of alternates", apart, len(sums))
