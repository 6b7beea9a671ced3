"""What questions of one catalogue have in common: its parts laid out as rows, and the sums over these rows.

An explanation asks some sixty questions, and most of them differ in the limits of the goals alone. What does not depend
on these limits is laid out for the first of them and kept for the others.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from kitwright.solver import narrow
from kitwright.solver.candidates import BOTTOM, Candidates
from kitwright.solver.classes import Facets
from kitwright.solver.facets import Builder
from kitwright.solver.plan import Plan

MOST = 8
"""Layouts that are kept: the latest that were asked for."""


@dataclass(frozen=True)
class _Layout:
    """Facets, and all that they and the sums over their rows depend on."""

    options: Candidates
    settings: Plan
    leaves: frozenset[str]
    alone: frozenset[narrow.Bound]
    facets: Facets

    def serves(
        self, options: Candidates, settings: Plan, leaves: frozenset[str], alone: frozenset[narrow.Bound]
    ) -> bool:
        return (
            (self.leaves, self.alone, self.settings) == (leaves, alone, settings)
            and self.options.slots.keys() == options.slots.keys()
            and all(_same(parts, options.slots[kind]) for kind, parts in self.options.slots.items())
            and _same(self.options.gaskets, options.gaskets)
        )


def _same(parts: tuple[Any, ...] | None, others: tuple[Any, ...] | None) -> bool:
    """Whether these are the very same parts; equal ones of another catalogue are not."""
    if parts is None or others is None:
        return parts is others
    return len(parts) == len(others) and all(part is other for part, other in zip(parts, others, strict=True))


class Layouts:
    """Layouts of the questions so far."""

    def __init__(self) -> None:
        self._layouts: list[_Layout] = []

    def facets(self, builder: Builder) -> Facets:
        """The facets that a builder would build: those of an earlier question where they are the same.

        Raises:
            OutOfTimeError: the builder's time was up.
        """
        options = builder.candidates
        settings = _settings(options.plan)
        asked = options, settings, frozenset(builder.leaves), frozenset(_alone(options.plan))
        for place, layout in enumerate(self._layouts):
            if layout.serves(*asked):
                self._layouts.insert(0, self._layouts.pop(place))
                return layout.facets
        facets = builder.build()
        self._layouts.insert(0, _Layout(*asked, facets))
        del self._layouts[MOST:]
        return facets


def _settings(plan: Plan) -> Plan:
    """A plan without what its candidates and the limits of goals and rules already say."""
    return plan.but(
        name="",
        catalogue="",
        goals={},
        waived=frozenset(),
        advice={},
        avoid=frozenset(),
        kinds=None,
        units="mm",
        step_clear=False,
    )


def _alone(plan: Plan) -> list[narrow.Bound]:
    """Limits that parts of the short block break alone: such parts are in no row."""
    return [bound for bound in narrow.bounds(plan) if narrow.decided_by(bound[0]) in BOTTOM]
