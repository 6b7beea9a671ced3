"""Smallest conflicts: sets of requirements that have no answer together, none of them to spare.

The search is the oracle: a set of requirements holds if the plan that keeps them, and drops the others, has an answer.
A smallest conflict comes from the duality of conflicts and corrections: a smallest set that hits every correction found
so far either is infeasible, and then it is a smallest conflict, or grows into a greatest feasible set whose complement
is one more correction.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator
from typing import Protocol

from kitwright.solver.catalogue import Catalogue
from kitwright.solver.check import judge
from kitwright.solver.combination import Combination
from kitwright.solver.layouts import Layouts
from kitwright.solver.parts import KINDS
from kitwright.solver.plan import Goal, Plan
from kitwright.solver.requirements import requirements
from kitwright.solver.result import Answer, Checked
from kitwright.solver.stackup import Spreads
from kitwright.solver.stopping import Clock, OutOfTimeError


class Find(Protocol):
    """The search, ``kitwright.solver.search.find``."""

    def __call__(self, catalogue: Catalogue, plan: Plan, top: int, seconds: float, *, layouts: Layouts) -> Answer:
        """The closest combinations."""


class Witness(Protocol):
    """The quick question whether anything fits, ``kitwright.solver.search.witness``."""

    def __call__(self, catalogue: Catalogue, plan: Plan, seconds: float, *, layouts: Layouts) -> Combination | None:
        """Any combination that fits."""


_REMEMBERED = 60
"""Combinations that are tried before the search is asked."""

_OTHERS = 4
"""Conflicts beside the first that are looked for."""


_MOST_CONFLICTS = 24
"""Conflicts after which no more ways out of them are looked for."""


class Oracle:
    """Whether sets of requirements hold, remembered.

    A combination that was found once is tried first wherever it might answer again. To drop a requirement never makes
    it worse: where more kinds are searched once ``kinds`` is dropped, an answer of the chosen kinds alone still counts.
    """

    def __init__(
        self, catalogue: Catalogue, plan: Plan, find: Find, clock: Clock, witness: Witness | None = None
    ) -> None:
        self.catalogue = catalogue
        self.plan = plan
        self.find = find
        self.clock = clock
        self.witness = witness or self._best
        self.all = {each.name: each for each in requirements(plan)}
        self._answers: dict[frozenset[str], Checked | None] = {}
        self._holds: dict[frozenset[str], bool] = {}
        self._seen: list[Combination] = []
        self._spreads: Spreads = {}
        self.layouts = Layouts()

    def _best(self, catalogue: Catalogue, plan: Plan, seconds: float, *, layouts: Layouts) -> Combination | None:
        found = self.find(catalogue, plan, 1, seconds, layouts=layouts).combinations
        return found[0].combination if found else None

    def plan_with(self, kept: Iterable[str]) -> Plan:
        """The plan with only some of its requirements."""
        keep = set(kept)
        changed = self.plan
        for name, each in self.all.items():
            if name not in keep:
                changed = each.drop(changed)
        return changed

    def plans_with(self, kept: Collection[str]) -> list[Plan]:
        """The plans of which one has to have an answer for some requirements to hold."""
        plans = [self.plan_with(kept)]
        if "kinds" in self.all and "kinds" not in kept:
            plans.append(self.plan_with({*kept, "kinds"}))
        return plans

    def answer(self, kept: Iterable[str]) -> Checked | None:
        """The best combination that keeps some of the requirements."""
        key = frozenset(kept)
        if key not in self._answers:
            found = [each for each in map(self.ask, self.plans_with(key)) if each is not None]
            self._answers[key] = min(found, key=lambda each: each.key, default=None)
        return self._answers[key]

    def ask(self, plan: Plan) -> Checked | None:
        """The best combination for a plan; raises where it is not proved in time."""
        self.clock.check()
        answer = self.find(self.catalogue, plan, 1, self.clock.left, layouts=self.layouts)
        if answer.status == "incomplete":
            raise OutOfTimeError
        if not answer.combinations:
            return None
        self._remember(answer.combinations[0].combination)
        return answer.combinations[0]

    def some(self, plan: Plan) -> Combination | None:
        """Any combination that fits a plan."""
        for number, seen in enumerate(self._seen):
            if self._of_kinds(seen, plan) and judge(seen, plan, self._spreads).fits:
                self._seen.insert(0, self._seen.pop(number))
                return seen
        self.clock.check()
        limits = {name: Goal(name, None, goal.minimum, goal.maximum) for name, goal in plan.goals.items()}
        found = self.witness(self.catalogue, plan.but(goals=limits), self.clock.left, layouts=self.layouts)
        if found is not None:
            self._remember(found)
        return found

    def _remember(self, combination: Combination) -> None:
        self._seen.insert(0, combination)
        del self._seen[_REMEMBERED:]

    def _of_kinds(self, combination: Combination, plan: Plan) -> bool:
        """Whether a combination has a part of each kind that a plan searches, and of no other."""
        for kind in KINDS:
            there = bool(combination.gaskets) if kind == "gasket" else kind in combination.parts
            searched = plan.kinds is None or kind in plan.kinds or kind in plan.use
            searched = searched and bool(self.catalogue.of_kind(kind))
            if there != searched and (there or kind not in plan.optional):
                return False
        return True

    def holds(self, kept: Iterable[str]) -> bool:
        """Whether some requirements have an answer together: what holds together holds in any part of it."""
        key = frozenset(kept)
        if key not in self._holds:
            if any(known and key <= other for other, known in self._holds.items()):
                self._holds[key] = True
            elif any(not known and other <= key for other, known in self._holds.items()):
                self._holds[key] = False
            else:
                self._holds[key] = any(self.some(plan) is not None for plan in self.plans_with(key))
        return self._holds[key]


def smallest_conflict(oracle: Oracle, among: Iterable[str] | None = None) -> tuple[str, ...]:
    """A smallest set of requirements that has no answer, the first by name among equally small ones.

    Args:
        oracle: the plan and what is known of it.
        among: requirements to choose from, which have no answer together; all of them by default.

    Empty where even a plan without requirements has none: then it is the parts that do not fit one another.
    """
    names = sorted(oracle.all if among is None else among)
    corrections: list[frozenset[str]] = []
    while True:
        hitting = smallest_hitting(corrections)
        if not oracle.holds(hitting):
            return hitting
        grown = set(hitting)
        for name in names:
            if name not in grown and oracle.holds(grown | {name}):
                grown.add(name)
        corrections.append(frozenset(names) - grown)


def smallest_hitting(sets: Collection[frozenset[str]]) -> tuple[str, ...]:
    """A smallest set that has something in common with each of some sets, the first by name.

    >>> smallest_hitting([frozenset("ab"), frozenset("bc"), frozenset("cd")])
    ('a', 'c')
    """
    size = 0
    while True:
        found = {tuple(sorted(each)) for each in _hitting(sets, frozenset(), size)}
        if found:
            return min(found)
        size += 1


def _hitting(sets: Collection[frozenset[str]], chosen: frozenset[str], left: int) -> Iterator[frozenset[str]]:
    """Sets of at most so many more that hit everything: each branch hits the smallest set that is still missed."""
    missed = [each for each in sets if not each & chosen]
    if not missed:
        yield chosen
    elif left:
        for name in min(missed, key=lambda each: (len(each), sorted(each))):
            yield from _hitting(missed, chosen | {name}, left - 1)


def other_conflicts(oracle: Oracle, first: tuple[str, ...]) -> Iterator[tuple[str, ...]]:
    """Further conflicts: first those that have nothing in common with the ones before.

    Then, for each requirement of the first whose loosening alone opens nothing, the one that stands behind it.
    """
    found = [frozenset(first)]
    if not first:
        return
    while len(found) <= _OTHERS:
        rest = set(oracle.all).difference(*found)
        if oracle.holds(rest):
            break
        found.append(frozenset(smallest_conflict(oracle, rest)))
        yield tuple(sorted(found[-1]))
    for name in first:
        rest = set(oracle.all) - {name}
        if len(found) > _OTHERS or oracle.holds(rest) or any(name not in each for each in found):
            continue
        found.append(frozenset(smallest_conflict(oracle, rest)))
        yield tuple(sorted(found[-1]))


def corrections(oracle: Oracle, known: Iterable[tuple[str, ...]], most: int) -> Iterator[tuple[str, ...]]:
    """Smallest sets of requirements whose loosening together opens an answer, by name."""
    conflicts = [frozenset(each) for each in known]
    found: set[tuple[str, ...]] = set()
    size = 0
    while len(found) < most and all(conflicts) and size <= len(oracle.all) and len(conflicts) < _MOST_CONFLICTS:
        hitting = {tuple(sorted(each)) for each in _hitting(conflicts, frozenset(), size) if len(each) == size}
        each = min(hitting - found, default=None)
        if each is None:
            if found:
                return
            size += 1
            continue
        rest = set(oracle.all) - set(each)
        if oracle.holds(rest):
            found.add(each)
            yield each
        else:
            conflicts.append(frozenset(smallest_conflict(oracle, rest)))
