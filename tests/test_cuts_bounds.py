"""Bounds and best plans against brute force and against published optima."""

from __future__ import annotations

import csv
import itertools
import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import assume, example, given, settings
from hypothesis import strategies as st

from geoturf.cuts import dual, exact, levels, polish, program, rolls, sections, stock_lengths
from geoturf.cuts.job import Job, count, undercut, used
from geoturf.cuts.market import Market
from geoturf.cuts.solve import solve

STEP = 0.0254


def job(sizes, width=10, roll=30, billing=0, lengths=None, prices=None) -> Job:
    """Pieces (length, width) in steps; ``billing`` in steps, 0 for whole rolls; a step of roll
    costs 1."""
    lengths = lengths or (roll,)
    market = Market(
        1.0, tuple(x * STEP for x in lengths), tuple(map(float, prices or lengths)), billing * STEP
    )
    size, kind = np.unique(-np.asarray(sizes), axis=0, return_inverse=True)
    return Job(STEP, width, tuple(lengths), market, -size, np.bincount(kind.reshape(-1)))


def partitions(items):
    """Every way to part a list."""
    if not items:
        yield []
        return
    first, *rest = items
    for size in range(len(rest) + 1):
        for others in itertools.combinations(range(len(rest)), size):
            part = [first, *(rest[k] for k in others)]
            for more in partitions([x for k, x in enumerate(rest) if k not in others]):
                yield [part, *more]


def brute_sections(sizes, width):
    """Least length of one section for all of these pieces, by every way to part them into lanes;
    infinite if none fits."""
    best = math.inf
    for lanes in partitions(list(sizes)):
        if sum(max(w for _, w in lane) for lane in lanes) <= width:
            best = min(best, max(sum(h for h, _ in lane) for lane in lanes))
    return best


def brute(sizes, width, cost):
    """Least cost over every way to part pieces into purchases, these into sections and these into
    lanes."""
    height = {}

    def section(part):
        key = tuple(sorted(part))
        if key not in height:
            height[key] = brute_sections(key, width)
        return height[key]

    def purchase(part):
        return min((sum(map(section, split)) for split in partitions(part)), default=math.inf)

    known = {}

    def price(part):
        key = tuple(sorted(part))
        if key not in known:
            steps = purchase(list(key))
            known[key] = cost(steps) if steps < math.inf else math.inf
        return known[key]

    return min(sum(map(price, split)) for split in partitions(list(sizes)))


few = st.lists(st.tuples(st.integers(1, 12), st.integers(1, 10)), min_size=1, max_size=7)
some = st.lists(st.tuples(st.integers(1, 30), st.integers(1, 10)), min_size=1, max_size=30)


@settings(max_examples=60, deadline=None)
@given(few)
def test_whole_rolls_against_every_plan(sizes):
    """Brute force over all plans of three cuts."""
    cut = solve(job(sizes, roll=20))
    least = brute(sizes, 10, lambda steps: 1 if steps <= 20 else math.inf)
    assert len(cut.bought) == least
    assert round(cut.bound_m / STEP) == 20 * least


@settings(max_examples=60, deadline=None)
@given(few)
def test_lengths_against_every_plan(sizes):
    cut = solve(job(sizes, roll=20, billing=4))
    least = brute(sizes, 10, lambda steps: 4 * math.ceil(steps / 4) if steps <= 20 else math.inf)
    assert sum(4 * math.ceil(used(b) / 4) for b in cut.bought) == least
    assert round(cut.bound_m / STEP) == least


@settings(max_examples=40, deadline=None)
@given(few)
def test_rolls_of_several_lengths_against_every_plan(sizes):
    offers = {20: 9.0, 12: 6.0, 15: 7.0}
    whole = job(sizes, lengths=(20, 15, 12), prices=(9, 7, 6))
    cut = solve(whole)
    least = brute(
        sizes, 10, lambda steps: min((p for r, p in offers.items() if r >= steps), default=math.inf)
    )
    assert rolls.price(whole, list(cut.bought)) == pytest.approx(least)


@settings(max_examples=60, deadline=None)
@given(few)
def test_every_bound_holds(sizes):
    """Each bound by itself, against the best of all plans."""
    least = brute(sizes, 10, lambda steps: steps)
    whole = job(sizes, roll=200)
    assert dual.least_length(whole) <= least
    cost = program.plain(whole)
    assert dual.values(whole, cost) @ whole.demand <= least + 1e-9
    assert program.relax(whole, sections.quick(whole), cost).least() <= least
    rolled = job(sizes, roll=20)
    assert dual.least_rolls(rolled) <= brute(
        sizes, 10, lambda steps: 1 if steps <= 20 else math.inf
    )


@settings(max_examples=100, deadline=None)
@given(few, st.integers(1, 8), st.sampled_from([4, 20]))
def test_what_a_length_ought_to_cost_bounds_every_plan(sizes, rounds, unit):
    """Sections priced by length, however far that has come, cost no more than the best of all
    plans, in billed lengths and in rolls; and the costs are superadditive, by trying every sum."""
    whole = job(sizes, roll=20, billing=unit % 20)
    start = sections.quick(whole)
    both = levels.Levels(whole, rolls.by_length(whole), start, [(length,) for length, _ in start])
    cost = both.solve(rounds)
    least = brute(
        sizes, 10, lambda steps: unit * math.ceil(steps / unit) if steps <= 20 else math.inf
    )
    assert dual.values(whole, cost) @ whole.demand <= least + 1e-9
    assert program.relax(whole, both.sections, cost).least() <= least + 1e-9
    assert all(cost[a] + cost[b - a] <= cost[b] + 1e-9 for b in range(21) for a in range(b))


@settings(max_examples=30, deadline=None)
@given(some)
def test_a_dive_makes_a_plan_of_every_piece(sizes):
    whole = job(sizes, roll=40)
    cost = program.plain(whole)
    relaxed = program.relax(whole, sections.quick(whole), cost)
    made, bound = program.dive(whole, relaxed, cost, 0.8), relaxed.least()
    assert np.array_equal(count(made, len(whole.demand)), whole.demand)
    assert bound - 1e-6 <= sum(length for length, _ in made)
    assert all(sum(width for width, _ in lanes) <= 10 for _, lanes in made)


@settings(max_examples=30, deadline=None)
@given(some, st.data())
def test_a_programme_gone_on_with_costs_what_one_begun_anew_does(sizes, data):
    """Less demand after a basis was found, and columns let go on the way: the optimum over every
    section that still fits is that of a programme which never knew more."""
    whole = job(sizes, roll=40)
    cost, kinds = program.plain(whole), len(whole.demand)
    columns = program.relax(whole, sections.quick(whole), cost)
    counts = program.contents(columns.sections, kinds)
    kept = program.SectionProgramme(whole, cost, columns.sections, counts)
    kept.master.begin(columns.basis)
    assert kept.master.solve()[0] == pytest.approx(
        program.SectionProgramme(whole, cost, columns.sections, counts).master.solve()[0]
    )
    left = whole.demand - np.array(
        data.draw(st.lists(st.integers(0, 2), min_size=kinds, max_size=kinds))
    )
    left = np.maximum(left, 0)
    assume(left.any())
    fit = (counts <= left).all(axis=1)
    small = replace(whole, demand=left)
    fresh = program.SectionProgramme(
        small, cost, [s for s, f in zip(columns.sections, fit, strict=True) if f], counts[fit]
    )
    kept.serve(left)
    assert kept.master.solve()[0] == pytest.approx(fresh.master.solve()[0], abs=1e-9)
    trimmed = kept.master.trim(kept.counts.sum(axis=1) > 1)
    assert len(trimmed) <= len(kept.sections)
    assert kept.master.solve()[0] == pytest.approx(fresh.master.solve()[0], abs=1e-9)


def test_cutting_parts_again_never_lengthens_a_plan():
    chance = np.random.default_rng(5)
    whole = job(np.column_stack([chance.integers(3, 30, 90), chance.integers(2, 10, 90)]), roll=60)
    before = sections.quick(whole)
    after = [before, *polish.renewed(whole, before, 2, polish.Part(60, 40, 0.8, 20))][-1]
    assert sum(h for h, _ in after) < sum(h for h, _ in before)
    assert np.array_equal(count(after, len(whole.demand)), whole.demand)


def test_many_pieces_by_length_are_worked_on_for_so_many_turns():
    chance = np.random.default_rng(7)
    size = np.column_stack([chance.integers(40, 1200, 400), chance.integers(10, 170, 400)])
    whole = job(size, roll=1200, width=178, billing=12)
    lengths = [solve(replace(whole, turns=turns)).bought_m(whole) for turns in (0, 2, 8)]
    assert lengths[0] > lengths[1] > lengths[2]


@pytest.mark.parametrize("seed", [1, 2])
def test_repeated_pieces_by_length_come_within_a_five_hundredth_of_the_bound(seed):
    rng = np.random.default_rng(seed)
    models = np.column_stack(
        [rng.integers(60, 600, 80), np.where(rng.random(80) < 0.3, 178, rng.integers(20, 178, 80))]
    )
    whole = job(models[rng.integers(0, 80, 1_200)], width=178, roll=1_200, billing=12)
    cut = solve(whole)  # raises where the bound is broken or a piece is missing
    assert cut.bought_m(whole) <= 1.002 * cut.bound_m


@settings(max_examples=40, deadline=None)
@given(some, st.sampled_from([0, 4]))
def test_plans_hold_every_piece_and_keep_their_bound(sizes, billing):
    whole = job(sizes, roll=40, billing=billing)
    cut = solve(whole)  # raises where the bound is broken
    assert np.array_equal(
        count([s for b in cut.bought for s in b], len(whole.demand)), whole.demand
    )


@pytest.mark.parametrize("seed", [1, 2])
def test_many_repeated_pieces_stay_within_a_roll_of_the_bound(seed):
    rng = np.random.default_rng(seed)
    models = np.column_stack(
        [rng.integers(60, 600, 20), np.where(rng.random(20) < 0.5, 178, rng.integers(20, 178, 20))]
    )
    whole = job(models[rng.integers(0, 20, 3_500)], width=178, roll=1_200)
    cut = solve(whole)  # raises where the bound is broken or a piece is missing
    assert len(cut.bought) * 1_200 * STEP <= cut.bound_m + 1_200 * STEP + 1e-6


@settings(max_examples=40, deadline=None)
@given(some, some)
def test_a_pool_split_in_two_never_needs_less(left, right):
    """The union of two plans is a plan of the union: the exact least, and each bound, of the parts
    add up to no less."""
    parts, both = [job(left, roll=40), job(right, roll=40)], job(left + right, roll=40)
    assert dual.least_rolls(both) <= sum(len(solve(part).bought) for part in parts)
    small = [job(left[:6], roll=40), job(right[:6], roll=40)]
    together = solve(job(left[:6] + right[:6], roll=40))
    assert len(together.bought) <= sum(len(solve(part).bought) for part in small)


@settings(max_examples=60, deadline=None)
@given(st.lists(st.integers(1, 40), min_size=1, max_size=12), st.integers(2, 40))
def test_dual_feasible_functions_are_feasible(sizes, c):
    """Sizes that fit together never weigh more than their container, by a knapsack over each
    function; and the functions are superadditive, as left-overs in `dual` need."""
    sizes = np.unique([min(size, c) for size in sizes])
    for weights, top in zip(*dual.functions(np.arange(1, c + 1), c), strict=True):
        best = np.zeros(c + 1, np.int64)
        for room in range(1, c + 1):
            best[room] = max(
                best[room - 1],
                max((best[room - x] + weights[x - 1] for x in sizes if x <= room), default=0),
            )
        assert best[c] <= top
        pairs = [(x, y) for x in range(1, c) for y in range(1, c - x + 1)]
        assert all(weights[x - 1] + weights[y - 1] <= weights[x + y - 1] for x, y in pairs)


def test_left_overs_at_hand_lower_the_bound_by_what_they_hold():
    whole = job([(10, 10), (10, 6)], roll=30, billing=1)
    with_stock = Job(STEP, 10, (30,), whole.market, whole.size, whole.demand, ((10, 6),))
    assert dual.least_length(whole) == 20
    assert dual.least_length(with_stock) == 10
    assert solve(with_stock).bought_m(with_stock) == pytest.approx(10 * STEP)


def brute_with_stock(sizes, width, cost, stock):
    """Least cost where some pieces come out of left-overs (length, width), by every choice of
    those."""
    if not stock:
        return brute(sizes, width, cost) if sizes else 0.0
    (length, wide), *others = stock
    best = math.inf
    for count_taken in range(len(sizes) + 1):
        for taken in itertools.combinations(range(len(sizes)), count_taken):
            part = [sizes[k] for k in taken]
            steps = [
                sum(brute_sections(some, min(wide, width)) for some in split)
                for split in partitions(part)
            ]
            if min(steps) <= length:
                rest = [size for k, size in enumerate(sizes) if k not in taken]
                best = min(best, brute_with_stock(rest, width, cost, others))
    return best


@settings(max_examples=40, deadline=None)
@example(
    [(12, 10), (12, 10), (11, 10), (11, 10)], [(24, 10)], 0
)  # a left-over as long as two rolls
@example([(12, 6), (12, 6), (12, 4)], [(36, 6)], 0)
@given(
    st.lists(st.tuples(st.integers(1, 12), st.integers(1, 10)), min_size=1, max_size=5),
    st.lists(st.tuples(st.integers(1, 40), st.integers(1, 10)), min_size=1, max_size=2),
    st.sampled_from([0, 1, 5]),
)
def test_no_way_to_use_left_overs_buys_less_than_the_bound(sizes, stock, billing):
    plain = job(sizes, roll=12, billing=billing)
    with_stock = replace(plain, left_overs=tuple(sorted(stock, reverse=True)))

    def cost(steps):
        return plain.purchase(steps)[0] if 0 < steps <= 12 else math.inf

    best = brute_with_stock(sizes, 10, cost, stock)
    assert dual.least_m(with_stock) <= best + 1e-9
    assert best <= solve(with_stock).bought_m(with_stock) + 1e-9


# Published optima
# ---------------------------------------------------------------------------------------------------------

CUTTING_STOCK = {
    # Gilmore and Gomory 1961, A linear programming approach to the cutting-stock problem, pp.
    # 856-858
    "Gilmore-Gomory": ((9, 6, 5), (10, 7, 6), {2: 20, 3: 10, 4: 20}, 170),
    # Fourer, Gay and Kernighan, AMPL (2nd ed.), the roll-trim example of chapter 15
    "AMPL book": ((110,), (1,), {20: 48, 45: 35, 50: 24, 55: 10, 75: 8}, 47),
    # Chvatal 1983, Linear Programming, chapter 13 (also GAMS model library, cutstock)
    "Chvatal": ((100,), (1,), {45: 97, 36: 610, 31: 395, 14: 211}, 453),
}


@pytest.mark.parametrize("name", CUTTING_STOCK)
def test_published_cutting_stock(name):
    lengths, prices, demand, optimum = CUTTING_STOCK[name]
    sizes = [(length, 10) for length, n in demand.items() for _ in range(n)]
    whole = job(sizes, lengths=lengths, prices=prices)
    assert rolls.price(whole, list(solve(whole).bought)) == pytest.approx(optimum)


QUICK = (
    "u120_00 u120_08 u120_19 scholl_N2c3w2_d scholl_N2w1b2r5 t60_00 t60_07 hard28_13 "
    "hard28_47 "
    "hard28_531 hard28_814"
)


@pytest.mark.parametrize("name", QUICK.split())
def test_published_sets(name):
    """Of the sets of Falkenauer 1996 (u120, t60), Scholl, Klein and Juergens 1997 and Schoenfield
    2002 (BPPLIB's Hard28) some that are quickly done; all of them, and where they are from:
    `bench/cuts.py`."""
    with (Path(__file__).parent / "bench" / "published.csv").open(
        encoding="utf-8", newline=""
    ) as file:
        (row,) = [row for row in csv.DictReader(file) if row["name"] == name]
    whole = job(
        [(int(size), 1) for size in row["sizes"].split()], width=1, roll=int(row["capacity"])
    )
    cut = solve(whole)
    assert len(cut.bought) == int(row["optimum"])
    assert cut.bound_m == pytest.approx(cut.bought_m(whole))


@settings(max_examples=30, deadline=None)
@given(st.lists(st.integers(1, 20), min_size=1, max_size=7))
def test_chosen_patterns_against_every_partition(lengths):
    """From one length a roll: the fewest rolls there are, each length once."""
    stock = stock_lengths.Stock((20,), (1.0,))
    found = stock_lengths.cheapest(stock, lengths, [(length,) for length in lengths])
    assert sorted(length for pattern in found for length in pattern) == sorted(lengths)
    assert all(sum(pattern) <= 20 for pattern in found)
    assert len(found) == min(
        len(parts) for parts in partitions(lengths) if all(sum(part) <= 20 for part in parts)
    )


STRIPS = {
    # width, height, pieces (width, height, copies)
    # Hopper and Turton 2001, classes C1P1 to C1P3 (perfect packings of 20 x 20)
    "C1P1": (20, 20, "2,12 7,12 8,6 3,6 3,5 5,5 3,12 3,7 5,7 2,6 3,2 4,2 3,4 4,4 9,2 11,2"),
    "C1P2": (20, 20, "4,1x2 4,5 9,4 3,5 3,9 1,4 5,3 5,5 7,2x2 9,3 3,13 2,8 15,4 5,4 10,6"),
    "C1P3": (20, 20, "4,14 5,2 2,2 9,7 5,5 2,5 7,7 3,5 6,5 3,2 6,2 4,6 6,3x2 10,3x2"),
    # Burke, Kendall and Whitwell 2004, N1
    "BKW1": (40, 40, "7,6x2 40,16 5,20 24,24 7,4 4,4 7,8 4,20 5,4"),
    # Martello, Monaci and Vigo 2003, strips made of ngcut1 to 3 and cgcut1 (optima of packings that
    # need not be guillotine)
    "ngcut1": (10, 23, "7,3x2 2,8x2 2,10 4,5x3 9,2x2"),
    "ngcut2": (10, 30, "10,1x3 3,5x2 3,9x3 1,6x3 8,3x3 1,4 3,7x2"),
    "ngcut3": (10, 28, "2,3x2 2,7x3 5,4x2 1,4x2 10,1 4,8 2,4x2 7,3x3 2,6x3 1,9x2"),
    "cgcut1": (10, 23, "4,8x2 7,3 2,8x3 4,3x5 3,3x2 2,3x2 1,2"),
}


def strip(text):
    pieces = []
    for word in text.split():
        size, _, copies = word.partition("x")
        width, height = map(int, size.split(","))
        pieces += [(height, width)] * int(copies or 1)
    return pieces


@pytest.mark.parametrize("name", STRIPS)
def test_published_strips_lie_between_bound_and_plan(name):
    """Bounds by dual feasible functions hold for any packing, so they may not pass the published
    height; a plan of three cuts may not be under it."""
    width, height, text = STRIPS[name]
    pieces = strip(text)
    whole = job(pieces, width=width, roll=200, billing=1)
    assert dual.least_length(whole) <= height
    assert dual.least_length(whole) >= math.ceil(sum(h * w for h, w in pieces) / width)
    assert sum(used(b) for b in solve(whole).bought) >= height


@settings(max_examples=50, deadline=None)
@given(st.lists(st.integers(1, 60), min_size=1, max_size=40))
def test_one_dimension_keeps_its_published_ratios(lengths):
    """First fit decreasing needs 11/9 OPT + 6/9 rolls at most (Dosa 2007), and best fit decreasing
    no more than that either (Johnson 1974); column generation none more than best fit."""
    stock = stock_lengths.Stock((60,), (1.0,))
    quick = stock_lengths.best_fit(60, lengths)
    best, bound = stock_lengths.cut(stock, lengths, quick, 0.0)
    assert sorted(x for pattern in best for x in pattern) == sorted(lengths)
    assert (
        bound - 1e-6 <= len(best) <= len(quick) <= 11 / 9 * len(best) + 6 / 9 + 1e-9
        or len(best) > bound + 1e-6
    )


def bin_packing_u(seed, n=120):
    """Falkenauer 1996, class U: n sizes, uniform from 20 to 100, bins of 150 (his recipe; the draws
    are our own)."""
    return 150, np.random.default_rng(seed).integers(20, 101, n).tolist()


def bin_packing_t(seed, n=60):
    """Falkenauer 1996, class T: n / 3 bins of 1000 cut in three, so that the optimum is known: the
    first part of 380 to 490, the second of 250 to half of what is left."""
    chance, sizes = np.random.default_rng(seed), []
    for _ in range(n // 3):
        first = int(chance.integers(380, 491))
        second = int(chance.integers(250, (1000 - first) // 2 + 1))
        sizes += [first, second, 1000 - first - second]
    return 1000, sizes


@pytest.mark.parametrize("seed", range(4))
def test_uniform_bins_meet_the_programme_bound(seed):
    roll, sizes = bin_packing_u(seed)
    best, bound = stock_lengths.cut(
        stock_lengths.Stock((roll,), (1.0,)), sizes, stock_lengths.best_fit(roll, sizes), 0.0
    )
    assert len(best) == math.ceil(bound - 1e-6)


@pytest.mark.parametrize("seed", range(4))
def test_triplets_meet_their_known_optimum(seed):
    roll, sizes = bin_packing_t(seed)
    quick = stock_lengths.best_fit(roll, sizes)
    best, _ = stock_lengths.cut(stock_lengths.Stock((roll,), (1.0,)), sizes, quick, 0.0, 8)
    assert len(best) == len(sizes) // 3


def test_cutting_groups_again_never_lengthens_a_plan():
    chance = np.random.default_rng(3)
    whole = job(np.column_stack([chance.integers(3, 30, 40), chance.integers(2, 10, 40)]), roll=60)
    before = sections.quick(whole)
    after = polish.shorten(whole, before, 50)
    assert sum(h for h, _ in after) <= sum(h for h, _ in before)
    assert np.array_equal(count(after, len(whole.demand)), whole.demand)


def test_exact_plan_agrees_with_itself_up_to_its_limit():
    """14 pieces: the exact plan is no longer than the plan by linear programme, and no shorter than
    its bound."""
    chance = np.random.default_rng(4)
    whole = job(np.column_stack([chance.integers(3, 30, 14), chance.integers(2, 8, 14)]), roll=200)
    quick = sections.quick(whole)
    best = exact.shorter(whole, sum(h for h, _ in quick) + 1)
    bound = program.relax(whole, quick, program.plain(whole)).least()
    assert bound <= sum(h for h, _ in best) <= sum(h for h, _ in quick)


@pytest.mark.parametrize(
    ("bought", "bound", "less"), [(1.0, 1.0 + 2e-6, True), (1.0, 1.0 + 1e-7, False)]
)
def test_dust_is_no_undercut(bought, bound, less):
    assert undercut(bought, bound) is less


def test_dust_of_a_large_order_is_no_undercut():
    """A square of 2 km takes four million square metres; sums in another order differ by some of
    their last digits."""
    assert not undercut(4_069_849.9248, 4_069_849.9248 + 2e-5)
    assert undercut(4_069_849.9248, 4_069_849.9348)
