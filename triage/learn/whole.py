"""Whole numbers out of decimal shares, and the search for the first that will do."""

import math
from collections.abc import Callable

_NOISE = 1e-9  # relative error of a product of two decimal numbers, with room to spare


def whole_up(value: float) -> int:
    """Smallest whole number not below, read as a decimal: 7.000000000000001 is 7."""
    return math.ceil(value * (1.0 - _NOISE)) if value > 0 else math.ceil(value)


def check_share(value: float, name: str) -> None:
    """Refuse what is not above 0 and up to 1."""
    if not 0 < value <= 1:
        raise ValueError(f"a {name} of {value:g} is not above 0 and up to 1")


def first_true(test: Callable[[int], bool], low: int, high: int) -> int | None:
    """Smallest whole number from low to high that passes a test which, once passed, stays so."""
    if not test(high):
        return None
    while low < high:
        middle = (low + high) // 2
        low, high = (low, middle) if test(middle) else (middle + 1, high)
    return low
