"""The linear and integer programme solver HiGHS, quiet and on one thread."""

from __future__ import annotations

from typing import Any

import highspy


class _Quiet(highspy.Highs):
    """HiGHS without its callbacks: enabling them prints a banner before output can be turned off (seen with 1.16)."""

    def enableCallbacks(self) -> None:
        pass


def solver(**options: Any) -> highspy.Highs:
    """A fresh solver that prints nothing and does the same each time. Raises `ValueError` for an option HiGHS does not take."""
    quiet = _Quiet()
    for option, value in {"output_flag": False, "threads": 1, "random_seed": 0, **options}.items():
        if quiet.setOptionValue(option, value) != highspy.HighsStatus.kOk:
            raise ValueError(f"HiGHS does not take {option} = {value!r}")
    return quiet
