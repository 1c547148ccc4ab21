"""A stocked roll as the layout sees it: what can be cut from it, and what seams weigh against its
turf."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from geoturf.errors import InputError
from geoturf.layout.sizes import RollSizes
from geoturf.model import Finding
from geoturf.rules import CROSS_WORTH, LayoutRules, Product
from geoturf.units import US, Money, System, round_down, round_up

HEAVIEST = 1e3  # m2 of turf that a metre of seam (or a cross seam) weighs where turf is nearly free
ALONE, PROP, BALANCED, WHOLE = range(4)  # price models: rows of `Roll.shares`
MODELS = 4
MIDDLE, FINEST = (
    48,
    240,
)  # grid steps in a usable width; of whole cut steps at most this many are told apart
LEAN = 0.025


@dataclass(frozen=True)
class Roll:
    """One stocked width of a product, under the layout rules. Lengths in metres, seams in m2 of the
    product's first turf.

    ``longest_m``: longest piece as laid; ``ends_m``: both end allowances (gaps up to this are
    closed, since a second piece would take as much); ``worth``: price of its turf over that of the
    product's first width; ``short_m``: least piece length, as laid; ``narrow_m``: strips under this
    width lie along a border; ``ganged``: whether strips may be cut in lengths that lie side by side
    in one section of roll, though a roll reaches; ``blocks``: whether areas may be cut across at
    inner corners; ``slanted``: whether ends may be cut along a chalk line; ``odd_m``: what an odd
    strip (`geoturf.model.Layout`) weighs, in length of roll; ``pool``: shares as in `shares` that a
    pool was found to come to, if known.
    """

    width_m: float
    usable_m: float
    longest_m: float
    worth: float
    ends_m: float
    side_m: float
    step_m: float
    least_m: float
    seam: float
    cross: float
    short_m: float
    narrow_m: float
    ganged: bool
    blocks: bool
    slanted: bool = False
    odd_m: float = 0.0
    pool: tuple[float, ...] = ()

    def joints(self, seam_m: float, crossings: int, corner_m: float, corners: int) -> float:
        """What seams weigh (m2 of turf): so many metres in all and so many cross seams, of which
        those at inner corners, so long and so many, count as often as they are to save what they
        cost."""
        more = CROSS_WORTH - 1
        return self.seam * (seam_m + more * corner_m) + self.cross * (crossings + more * corners)

    def lane_m(self, lanes: int) -> float:
        """Widest strip that is cut ``lanes`` side by side; 0 if the rules leave none."""
        if lanes == 1:
            return self.usable_m
        wide = round_down(self.usable_m / lanes, self.step_m) * self.step_m - self.side_m
        if wide >= self.least_m:
            return wide
        return 0.0

    def widths(self, screen: bool = False) -> np.ndarray:
        """Widths that matter to a coarse search: full, those that share a section two, three or
        four side by side, eighths; fewer to ``screen`` bearings."""
        return self._widths[screen]

    @cached_property
    def _widths(self) -> tuple[np.ndarray, np.ndarray]:
        lanes = np.array([self.lane_m(n) for n in (2, 3, 4)])
        eighth = self.lane_m(8) + self.side_m
        full = np.zeros(1)
        eighths = np.array([1, 3, 5, 6, 7]) * eighth - self.side_m
        few = [full, lanes[:2], self.usable_m - lanes[:2]]
        more = [full, lanes, self.usable_m - lanes, 2 * lanes[1:], 3 * lanes[2:], eighths]
        return np.concatenate(more), np.concatenate(few)

    @cached_property
    def grids(self) -> tuple[tuple[int, int, float, float], ...]:
        """The places that two finer searches look at, as `geoturf.layout.placing.near` takes them:
        first and how many steps of a grid, its step, and how far from the seams found so far; the
        last are whole cut steps, or as fine as is told apart."""
        finest = min(FINEST, round_down(self.usable_m, self.step_m))
        fine = self.step_m if finest < FINEST else self.usable_m / FINEST
        middle = self.usable_m / MIDDLE
        return (0, MIDDLE, middle, 1.01 * (self.usable_m / 14)), (
            1,
            finest,
            fine,
            1.01 * (self.usable_m / 64),
        )

    @property
    def odd_m2(self) -> float:
        """What an odd strip weighs, in this roll's turf."""
        return self.odd_m * self.width_m

    @cached_property
    def numbers(self) -> RollSizes:
        """What the kernels take: seams are in m2 of *this* roll's turf there."""
        return RollSizes(
            width=float(self.width_m),
            usable=float(self.usable_m),
            ends=float(self.ends_m),
            step=float(self.step_m),
            side=float(self.side_m),
            least_width=float(self.least_m),
            seam=float(min(self.seam / self.worth, HEAVIEST)),
            cross=float(min(self.cross / self.worth, HEAVIEST)),
            longest=float(self.longest_m),
            a_metre=1 / float(self.step_m),
            least_length=float(self.short_m),
            narrow=float(self.narrow_m),
            odd=float(self.odd_m2),
        )

    @cached_property
    def shares(self) -> tuple[np.ndarray, ...]:
        """Price models: each a table (steps + 1) of the share of the roll's width that a piece cut
        k steps wide is charged; the last is one as wide as is usable.

        `ALONE`: nothing else is cut from the rest of a section; where strips may be ganged the
        kernel cuts each at its least price and looks at no table. `PROP`: in
        proportion. `BALANCED`: in a pool wide strips leave rests that narrow ones fill; so wide
        ones come a little dearer than in proportion, narrow ones cheaper by as much. It leans by
        what pools of lots and yards were found to come to. `WHOLE`: the same, and odd strips weigh
        what the rules give up for full ones.
        """
        usable = self.usable_m / self.step_m
        wide = np.minimum(np.arange(round_up(usable) + 1), usable)
        prop = wide / usable
        balanced = np.array(self.pool) if self.pool else prop - LEAN * np.sin(2 * np.pi * prop)
        return np.ones(len(prop)), prop, balanced, balanced

    @property
    def models(self) -> tuple[int, ...]:
        """The price models that differ."""
        return tuple(range(MODELS if self.odd_m else WHOLE))

    def tables(self, models: tuple[int, ...]) -> tuple[np.ndarray, int, int]:
        """`shares` of the ``models`` as one table (models, steps + 1), and the rows of `ALONE` and
        `WHOLE` in it (-1: none): what `geoturf.layout.kernel.searches` takes."""
        if models not in self._tables:
            shares = np.array([self.shares[model] for model in models])
            alone = self.ganged and ALONE in models
            whole = models.index(WHOLE) if WHOLE in models else -1
            self._tables[models] = (shares, models.index(ALONE) if alone else -1, whole)
        return self._tables[models]

    @cached_property
    def _tables(self) -> dict[tuple[int, ...], tuple[np.ndarray, int, int]]:
        return {}


def stocked(name: str, product: Product, rules: LayoutRules, told: System = US) -> tuple[Roll, ...]:
    """Every width of ``product``, the first first. Raises `InputError`, in the units of ``told``,
    where no piece can be cut from any of them."""
    prices = [size.price_per_m2 for size in product.widths]
    turf = prices[0]
    seam = _weight(rules.seam_cost, turf)
    cross = _weight(rules.cross_seam_cost, turf)
    rolls = []
    faults = []
    for (width, lengths, _), price in zip(product.widths, prices, strict=True):
        usable = width - 2 * rules.selvage_trim_m
        step = rules.cut_step_m
        longest = rules.longest_laid_m(lengths)
        fault = rules.unfit(width, max(lengths), told)
        if fault:
            faults.append(Finding("error", "roll-too-small", f"product '{name}': {fault}"))
            continue
        worth = 1.0
        if turf > 0:
            worth = max(price / turf, 1 / HEAVIEST)
        rolls.append(
            Roll(
                width,
                usable,
                longest,
                worth,
                rules.both_ends_m,
                rules.side_allowance_m,
                step,
                min(rules.min_piece_width_m, usable),
                seam,
                cross,
                rules.least_laid_m(lengths),
                usable * rules.narrow_strip,
                rules.cross_seams == "anywhere",
                rules.cross_seams != "needed",
                rules.nesting == "slanted",
                rules.full_strips_m,
            )
        )
    if not rolls:
        raise InputError(faults)
    return tuple(rolls)


def _weight(money: Money, turf: float) -> float:
    """``money`` in m2 of turf; where turf is free, seams are all that counts."""
    if money.amount == 0:
        return 0.0
    if turf > 0:
        return min(money.per_si() / turf, HEAVIEST)
    return HEAVIEST
