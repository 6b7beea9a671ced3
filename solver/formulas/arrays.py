"""What formulas need so that floats and numpy arrays go through them alike."""

from __future__ import annotations

from typing import Any

import numpy as np


def where(condition: Any, first: Any, second: Any) -> float:
    """``first`` where a condition holds, ``second`` elsewhere, in their unit; floats or arrays. Source: definition.

    >>> float(where(True, 1.0, 2.0))
    1.0
    """
    if isinstance(condition, np.bool_ | bool) and isinstance(first, float) and isinstance(second, float):
        return np.float64(first if condition else second)  # as np.where, which takes ten times as long for one value
    chosen: float = np.where(condition, first, second)
    return chosen


def some(condition: Any) -> bool:
    """Whether a condition holds anywhere, or anything is not 0; of a float or of an array. Source: definition.

    >>> some(1.0 > 2.0), some(np.array([1.0, 3.0]) > 2.0)
    (False, True)
    """
    return bool(condition) if isinstance(condition, np.bool_ | float | bool) else bool(np.any(condition))


def greater(first: Any, second: Any) -> Any:
    """The greater of two, NaN where one of them is; floats or arrays. Source: definition.

    >>> float(greater(1.0, 2.0))
    2.0
    """
    if isinstance(first, float) and isinstance(second, float):
        return np.float64(first if first >= second or first != first else second)
    return np.maximum(first, second)
