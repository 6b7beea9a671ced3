"""The engine model, the search and the explanations.

``find`` and ``check`` are the two questions; ``Plan``, ``Goal`` and ``Catalogue`` are what they are asked with.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from kitwright.solver.catalogue import Catalogue
from kitwright.solver.check import check  # at once: the module of the same name would stand in its place otherwise
from kitwright.solver.combination import Combination
from kitwright.solver.plan import Goal, Plan

if TYPE_CHECKING:
    from kitwright.solver.search import find

__all__ = ["Catalogue", "Combination", "Goal", "Plan", "check", "find"]


def __getattr__(name: str) -> Any:
    """Import the search on first use: OR-Tools takes longer than everything else together."""
    if name != "find":
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    from kitwright.solver.search import find

    return find
