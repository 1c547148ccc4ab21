"""How whole rolls are shared by pieces of known lengths, of which there are very many: the compiled
part of `geoturf.cuts.estimated`."""

from __future__ import annotations

import numpy as np

from geoturf.compiled import Floats, jit

WITHIN = 0.75  # where the pieces of a class lie in it, from its low end to its high one


@jit
def over(pieces: Floats) -> Floats:
    """What rolls take beyond the pieces that are cut from them, as a part of these (m,). ``pieces``
    (m, k): how many there are, in k classes by their part of a roll's length; parts of pieces
    count. First fit, the longest first: each roll is filled up with the longest that still fit, and
    as many rolls are filled alike as pieces last for."""
    m, k = pieces.shape
    out = np.zeros(m)
    long = (np.arange(k) + WITHIN) / k
    for row in range(m):
        left = pieces[row].copy()
        used = 0.0
        whole = (left * long).sum()
        for first in range(k - 1, -1, -1):
            while left[first] > 1e-9:
                fill = np.zeros(k)
                room = 1.0
                for j in range(first, -1, -1):
                    if left[j] > 1e-9:
                        fill[j] = np.floor(room / long[j] + 1e-9)
                        room -= fill[j] * long[j]
                rolls = left[first] / fill[first]
                for j in range(first):
                    if fill[j] > 0:
                        rolls = min(rolls, left[j] / fill[j])
                left -= rolls * fill
                used += rolls
        if whole > 0:
            out[row] = used / whole - 1.0
    return out
