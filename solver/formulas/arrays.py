"""What formulas need so that floats and numpy arrays go through them alike."""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache, wraps
from typing import Any, TypeVar, cast

import numpy as np

Scan = TypeVar("Scan", bound=Callable[..., Any])


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


def kept(scan: Scan) -> Scan:
    """A scan of a turn that keeps what plain floats come to: combinations share most of their dimensions.

    Source: definition.

    >>> float(kept(lambda x, y: x + y)(1.0, 2.0))
    3.0
    """

    @lru_cache(maxsize=65536)
    def once(*given: float | None) -> Any:
        return scan(*(np.float64(np.nan if each is None else each) for each in given))

    @wraps(scan)
    def kept_scan(*given: Any) -> Any:
        if all(isinstance(each, float) for each in given):
            return once(*(None if each != each else each for each in given))  # NaN is not equal to itself
        return scan(*given)

    return cast(Scan, kept_scan)
