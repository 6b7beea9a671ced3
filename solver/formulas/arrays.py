"""What formulas need so that floats and numpy arrays go through them alike."""

from __future__ import annotations

from typing import Any

import numpy as np


def where(condition: Any, first: Any, second: Any) -> float:
    """``first`` where a condition holds, ``second`` elsewhere, in their unit; floats or arrays. Source: definition.

    >>> float(where(True, 1.0, 2.0))
    1.0
    """
    chosen: float = np.where(condition, first, second)
    return chosen
