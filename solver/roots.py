"""Where a function of one value turns its sign."""

from __future__ import annotations

from collections.abc import Callable

_MOST_STEPS = 100


def root(function: Callable[[float], float], low: float, high: float, width: float) -> float:
    """Where a function crosses 0 between two values at which its signs differ, to within ``width``.

    False position with the Illinois weighting, which needs few calls where the function is nearly straight; every
    third step halves the interval. Source: M. Dowell and P. Jarratt, BIT 11 (1971), 168-174 (recalled, recomputed).

    Raises:
        ValueError: the signs at both ends are the same.

    >>> round(root(lambda x: x * x - 2.0, 0.0, 2.0, 1e-12), 9)
    1.414213562
    """
    at_low, at_high = function(low), function(high)
    if at_low == 0 or at_high == 0:
        return low if at_low == 0 else high
    if (at_low > 0) == (at_high > 0):
        raise ValueError(f"no change of sign between {low} and {high}")
    for step in range(_MOST_STEPS):
        if abs(high - low) <= width:
            break
        between = (low + high) / 2 if step % 3 == 2 else (low * at_high - high * at_low) / (at_high - at_low)
        value = function(between)
        if value == 0:
            return between
        if (value > 0) == (at_high > 0):
            high, at_high, at_low = between, value, at_low / 2
        else:
            low, at_low, at_high = between, value, at_high / 2
    return (low + high) / 2
