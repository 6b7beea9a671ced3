"""Whether a stack of gaskets is needed: the best with one, the best with several, and the decks where that turns."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from typing import Literal

from kitwright.solver.candidates import BOTTOM, candidates
from kitwright.solver.catalogue import Catalogue
from kitwright.solver.check import check
from kitwright.solver.deck_turns import DeckRange, deck_ranges, turns
from kitwright.solver.misses import SAME, Miss, Nearest, misses, total
from kitwright.solver.plan import Goal, Plan
from kitwright.solver.regions import Progress
from kitwright.solver.registry import FIGURES
from kitwright.solver.result import Answer, Checked
from kitwright.solver.search import DEFAULT_SECONDS, find, witness
from kitwright.solver.stopping import STOPS, Clock, OutOfTimeError, Reason

LEAST = 2
"""Layers of the smallest stack: also asked for where the plan allows one gasket alone."""

_COUNT = "gasket_count"


@dataclass(frozen=True, slots=True)
class Single:
    """What one gasket of the catalogue comes to on its own.

    ``combination`` is the one that misses least, fitting or not; None where no combination can have the gasket, and
    then ``why`` says why.
    """

    gasket: str
    combination: Checked | None
    misses: tuple[Miss, ...] = ()
    why: str = ""

    @property
    def fits(self) -> bool:
        """Whether the gasket does it alone."""
        return self.combination is not None and not self.misses


@dataclass(frozen=True)
class StackAnswer:
    """Whether more than one gasket is needed.

    Attributes:
        plan: what was asked.
        status: ``complete``, ``nothing_fits`` (neither fits, proven), or ``incomplete`` where time ran out.
        needed: whether a stack is needed: True where one gasket never fits and a stack does, False where one gasket
            fits; None where neither fits, or where that is not decided.
        best_single: the closest combination with one gasket.
        best_stack: the closest with several.
        layers: most layers that were allowed a stack; 2 where the plan allows one gasket alone.
        singles: every gasket of the catalogue on its own, the one that misses least first.
        ranges: decks of the short block at which one gasket does, by gasket.
        short_block: ids of the block, crank, rod and piston that the decks are of.
        deck: the deck of that short block as it is computed or measured, before any cut or spacer, in mm.
        deck_tolerance: ± of a measured deck that the turning decks take over from the plan, in mm.
        proven: what is known where the answer is not complete.
        stopped_by: what ended it, then.
    """

    plan: Plan
    status: Literal["complete", "incomplete", "nothing_fits"]
    needed: bool | None
    best_single: Checked | None
    best_stack: Checked | None
    layers: int
    singles: tuple[Single, ...]
    ranges: tuple[DeckRange, ...]
    short_block: dict[str, str]
    deck: float | None
    deck_tolerance: float
    proven: str
    seconds: float
    stopped_by: Reason | None = None

    @property
    def turns_at_deck(self) -> tuple[float, ...]:
        """The decks in mm, ascending, at which the answer turns."""
        return turns(list(self.ranges))

    @property
    def leading(self) -> Checked | None:
        """The combination that the others are held against: the best single, else the best stack."""
        return self.best_single or self.best_stack


class NoGasketsError(ValueError):
    """A question about gaskets to a catalogue, or a plan, that has none."""


def stack(
    catalogue: Catalogue, plan: Plan, seconds: float = DEFAULT_SECONDS, progress: Progress | None = None
) -> StackAnswer:
    """Whether more than one gasket is needed, with everything else free, proven complete.

    One gasket and a stack (of as many layers as the plan allows, at least two) are asked for apart; pins, shelf,
    machining and tolerance mode stay as they are. A plan that pins one exact stack asks about that stack; the single
    gasket is then any of the catalogue.

    Args:
        catalogue: the parts, as ``kitwright.catalogs.load`` reads them.
        plan: what is wanted.
        seconds: time limit; when it is reached the answer is ``incomplete``.
        progress: called with a line of text now and then.

    Raises:
        NoGasketsError: the catalogue holds no gasket, or the plan looks at none.
    """
    if not catalogue.of_kind("gasket"):
        raise NoGasketsError(f"the catalogue {catalogue.folder or 'given'} holds no gasket: there is nothing to stack")
    if plan.kinds is not None and "gasket" not in plan.kinds and "gasket" not in plan.use:
        raise NoGasketsError("the plan's `kinds` leaves gaskets out: add `gasket` to ask about them")
    with Clock(seconds) as clock:
        return _Question(catalogue, plan, clock, progress or (lambda _: None)).answer()


def with_one(plan: Plan) -> Plan:
    """The plan with one gasket, neither none nor several; a pinned stack is let go."""
    use = {kind: ids for kind, ids in plan.use.items() if kind != "gasket" or len(ids) == 1}
    kinds = plan.kinds if plan.kinds is None else plan.kinds | {"gasket"}
    return plan.but(gaskets=1, use=use, kinds=kinds, optional=plan.optional - {"gasket"})


def with_several(plan: Plan) -> Plan:
    """The plan with two gaskets or more, as many as it allows or (where it allows one) two."""
    goal = plan.goals.get(_COUNT, Goal(_COUNT, step=FIGURES[_COUNT].step))
    least = max(float(LEAST), goal.minimum or 0.0)
    goals = {**plan.goals, _COUNT: replace(goal, minimum=least)}
    return plan.but(gaskets=max(plan.gaskets, LEAST), goals=goals, optional=plan.optional - {"gasket"})


class _Question:
    """One question, worked through stage by stage: what is known when the time is up is kept."""

    def __init__(self, catalogue: Catalogue, plan: Plan, clock: Clock, progress: Progress) -> None:
        self.catalogue = catalogue
        self.plan = plan
        self.one = with_one(plan)
        self.several = with_several(plan)
        self.clock = clock
        self.progress = progress
        self.best_single: Checked | None = None
        self.best_stack: Checked | None = None
        self.nothing_single = self.nothing_stack = False
        self.singles: list[Single] = []
        self.ranges: list[DeckRange] = []
        self.known: list[str] = []
        self.stopped_by: Reason | None = None

    def answer(self) -> StackAnswer:
        stages: tuple[tuple[str, Callable[[], None]], ...] = (
            ("the closest combination with one gasket", self._single),
            ("the closest with several", self._stack),
            ("the decks at which the answer turns", self._turns),
            ("what each gasket misses alone", self._singles),
        )
        complete = True
        for number, (what, ask) in enumerate(stages):
            self.progress(what)
            try:
                ask()
            except STOPS as stop:
                complete = False
                self.stopped_by = self.stopped_by or self.clock.ended_by(stop)
                left = " and ".join(name for name, _ in stages[number:])
                self.known.append(f"not proved: {left}")
                break
        needed = False if self.best_single else True if self.nothing_single and self.best_stack else None
        neither = self.nothing_single and self.nothing_stack
        status: Literal["complete", "incomplete", "nothing_fits"] = (
            "incomplete" if not complete else "nothing_fits" if neither else "complete"
        )
        leading = self.best_single or self.best_stack
        block = _short_block(leading)
        given = next((each for each in reversed(self.plan.measured_decks) if dict(each.parts) == block), None)
        return StackAnswer(
            self.plan,
            status,
            needed,
            self.best_single,
            self.best_stack,
            self.several.gaskets,
            tuple(self.singles),
            tuple(self.ranges),
            block,
            _deck(leading, self.plan),
            1000 * given.deck.tolerance if given else 0.0,
            "; ".join(self.known),
            self.clock.spent,
            self.stopped_by,
        )

    def _find(self, plan: Plan) -> Answer:
        return find(self.catalogue, plan, 1, self.clock.left, self.progress)

    def _single(self) -> None:
        found = self._find(self.one)
        if found.combinations:
            self.best_single = check(found.combinations[0].combination, self.one, spreads=False)
        self.nothing_single = found.status == "nothing_fits"
        if found.status == "incomplete":
            self.stopped_by = found.stopped_by
            raise OutOfTimeError

    def _stack(self) -> None:
        found = self._find(self.several)
        if found.combinations:
            plan = self.plan.but(gaskets=self.several.gaskets)
            self.best_stack = check(found.combinations[0].combination, plan, spreads=False)
        self.nothing_stack = found.status == "nothing_fits"
        if found.status == "incomplete":
            self.stopped_by = found.stopped_by
            raise OutOfTimeError

    def _singles(self) -> None:
        out = {each.id: each.why for each in candidates(self.catalogue, self.one).parts_out}
        nothing: list[Single] = []
        for number, gasket in enumerate(self.catalogue.of_kind("gasket"), 1):
            self.progress(f"gasket {number} of {len(self.catalogue.of_kind('gasket'))}: {gasket.id}")
            best = None
            if self.best_single is not None and gasket in self.best_single.combination.gaskets:
                best = self.best_single
            elif gasket.id not in out:
                plan = self.one.but(use={**self.one.use, "gasket": (gasket.id,)})
                best = Nearest(self.catalogue, plan, find, witness, self.clock).best()
            if best is None:
                why = out.get(gasket.id, "no parts that go together take it, with any volume left above the piston")
                nothing.append(Single(gasket.id, None, (), why))
            else:
                checked = check(best.combination, self.one, spreads=False)
                self.singles.append(Single(gasket.id, checked, misses(checked, self.one)))
                self.singles.sort(key=_least)
        self.singles += nothing

    def _turns(self) -> None:
        block = _short_block(self.best_single or self.best_stack)
        if len(block) == len(BOTTOM):
            self.ranges = deck_ranges(self.catalogue, self.one, block, self.clock)


def _least(single: Single) -> tuple[object, ...]:
    assert single.combination is not None
    return len(single.misses), round(total(single.misses) / SAME), single.combination.key


def _short_block(checked: Checked | None) -> dict[str, str]:
    """Ids of the four parts that a deck is measured with, as far as they are there."""
    parts = checked.combination.parts if checked is not None else {}
    return {kind: parts[kind].id for kind in BOTTOM if kind in parts}


def _deck(checked: Checked | None, plan: Plan) -> float | None:
    """The deck of a combination's short block before any cut or spacer, in mm."""
    if checked is None:
        return None
    combination = checked.combination
    bare = replace(
        combination,
        parts={kind: part for kind, part in combination.parts.items() if kind != "spacer"},
        deck_cut=type(combination.deck_cut)(0),
    )
    return check(bare, plan, spreads=False).figures.get("deck")


def changes(single: Single, leading: Checked) -> Iterator[tuple[str, str]]:
    """Where a gasket's combination differs from the leading one, gaskets apart: kind or operation, and what it has."""
    if single.combination is None:
        return
    mine, theirs = single.combination.combination, leading.combination
    for kind in dict.fromkeys((*mine.parts, *theirs.parts)):
        here, there = (some.parts[kind].id if kind in some.parts else "none" for some in (mine, theirs))
        if here != there:
            yield kind, here
    for key in dict.fromkeys((*mine.machining, *theirs.machining)):
        here_amount = mine.machining.get(key, 0.0)
        if here_amount != theirs.machining.get(key, 0.0):
            yield key, f"{here_amount:.10g}"
