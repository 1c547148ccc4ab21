"""Both knapsacks against every choice there is."""

from itertools import combinations

import numpy as np
import pytest

from geoturf import knapsack

SIZES = np.array([3, 4, 4, 7])
WORTH = np.array([2.0, 3.5, 3.0, 6.25])
ROOM = 15


def most_of(things, room):
    """Most value of a choice of ``things`` (size, worth) that fits."""
    return max(
        sum(worth for _, worth in some)
        for count in range(len(things) + 1)
        for some in combinations(things, count)
        if sum(size for size, _ in some) <= room
    )


@pytest.mark.parametrize("first", range(len(SIZES) + 1))
def test_each_thing_once(first):
    table = knapsack.once(SIZES, WORTH, ROOM)
    things = list(zip(SIZES, WORTH, strict=True))[:first]
    assert table[first].tolist() == [most_of(things, room) for room in range(ROOM + 1)]


def test_each_thing_as_often_as_it_fits():
    """Every thing written out as often as it fits makes one problem of the other."""
    best, last = knapsack.again(SIZES, WORTH, ROOM)
    copies = ROOM // SIZES
    things = list(zip(np.repeat(SIZES, copies), np.repeat(WORTH, copies), strict=True))
    assert best.tolist() == [most_of(things, room) for room in range(ROOM + 1)]
    for room in range(ROOM + 1):
        worth, left = 0.0, room
        while left > 0:
            thing = last[left]
            worth += WORTH[thing] if thing >= 0 else 0.0
            left -= SIZES[thing] if thing >= 0 else 1
        assert left == 0 and worth == best[room]


def test_a_thing_worth_nothing_is_not_put_in():
    best, last = knapsack.again(np.array([1, 2]), np.array([0.0, -1.0]), 4)
    assert best.tolist() == [0.0] * 5 and last.tolist() == [-1] * 5


def test_nothing_to_put_in():
    best, last = knapsack.again(np.array([], int), np.array([]), 2)
    assert best.tolist() == [0.0] * 3 and last.tolist() == [-1] * 3
