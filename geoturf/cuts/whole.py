"""Pieces as long as the longest roll and as wide: each takes one, whatever else is cut."""

from __future__ import annotations

import numpy as np

from geoturf.cuts.job import Bought, Job

MANY = 500  # from so many on they are set aside: large areas have thousands


def set_aside(job: Job) -> tuple[list[Bought], np.ndarray]:
    """A roll for each such piece, and the demand (k,) left. No plan is worse for it: nothing else
    fits on a roll beside such a piece."""
    whole = (job.size[:, 0] == job.longest) & (job.size[:, 1] == job.width)
    if job.slant is not None or job.demand[whole].sum() < MANY:
        return [], job.demand
    (row,) = np.flatnonzero(whole).tolist()
    roll: Bought = ((job.longest, ((job.width, (row,)),)),)
    return [roll] * int(job.demand[row]), np.where(whole, 0, job.demand)
