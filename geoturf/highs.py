"""The linear and integer programme solver HiGHS, quiet and on one thread."""

from __future__ import annotations

import highspy

Option = bool | int | float | str


class _Quiet(highspy.Highs):
    """HiGHS without its callbacks: enabling them prints a banner before output can be turned off
    (seen with 1.16)."""

    def enableCallbacks(self) -> None:
        pass


def solver(**options: Option) -> highspy.Highs:
    """A fresh solver that prints nothing and does the same each time. Raises `ValueError` for an
    option HiGHS does not take."""
    quiet: highspy.Highs = _Quiet()  # type: ignore[no-untyped-call]  # it has no types of its own
    fixed: dict[str, Option] = {
        "output_flag": False,
        "threads": 1,
        "random_seed": 0,
    }
    for option, value in (fixed | options).items():
        if quiet.setOptionValue(option, value) != highspy.HighsStatus.kOk:
            raise ValueError(f"HiGHS does not take {option} = {value!r}")
    return quiet
