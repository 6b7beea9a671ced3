"""Several engines off one bench: parts on the shelf are allotted among them, none twice, closest in sum.

Each engine is a question of its own to the same catalogue, and :func:`~kitwright.solver.search.find` answers it in
order, proven. Allotments are sums of such answers, least first, each lower bound made exact before it counts. Where the
engines of one together take more of a part from the shelf than lies there, or cost more than there is to spend, some
engine must do with less in whatever is possible: the question is split into one for each engine that might, with fewer
of that part on its shelf or less money. Every possible allotment is in one of the new questions, the one that was split
off is in none, and no sum in them is smaller than its engines' own best: so the first sum that holds is the closest,
and what follows comes in order.

A goal that more to buy may bring nearer (`parts_to_buy` with an aim or a minimum) is left out of an engine's own list,
so that the list stays a lower bound; what each way to share the shelf out makes of it is looked at sum by sum.

In one allotment a part is taken from the shelf as often as it lies there. One that has a price may be bought again; one
without a price that lies on the shelf is one thing, and whoever does not get it does without.
"""

from __future__ import annotations

import heapq
from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from typing import Any, Literal

from kitwright.solver.bench_shares import Shares, eased, summed, taken
from kitwright.solver.catalogue import Catalogue
from kitwright.solver.plan import Bench, Goal, Plan
from kitwright.solver.regions import Progress
from kitwright.solver.registry import FIGURES
from kitwright.solver.result import Answer, Checked
from kitwright.solver.search import DEFAULT_SECONDS, find
from kitwright.solver.stopping import STOPS, Clock, OutOfTimeError, Reason, tick
from kitwright.solver.terms import MONEY_UNIT

FIRST_LENGTH = 2
"""Combinations that an engine's list has at first; it grows as it is read."""


@dataclass(frozen=True, slots=True)
class Allotment:
    """A combination for each engine, the shelf shared out among them.

    The parts of each combination stand with as many on the shelf as that engine has of them; ``key`` is the order's
    key, in sums.
    """

    engines: Mapping[str, Checked]
    key: tuple[Any, ...]

    @property
    def closeness(self) -> int:
        """Sum of the engines' closeness."""
        return sum(each.closeness for each in self.engines.values())

    @property
    def cost(self) -> float | None:
        """Money still to be spent on all, None where a price is missing."""
        costs = [each.cost for each in self.engines.values()]
        return None if None in costs else sum(cost for cost in costs if cost is not None)


@dataclass(frozen=True)
class BenchAnswer:
    """What ``find`` answers of several engines.

    Attributes:
        bench: what was asked.
        status: ``complete`` (these are the closest, proven), ``nothing_fits`` (proven) or ``incomplete``.
        allotments: the closest, in order.
        alone: each engine's answer with the whole shelf and the whole budget to itself: its closest combination.
        contested: parts that the engines together want more of than the shelf holds, as far as that came up.
        hopeless: engines that nothing fits, whatever the shelf and the budget leave them.
        seconds: how long it took.
        counts: how often an engine was asked anew, and how many sums were looked at.
        stopped_by: what ended an incomplete search.
    """

    bench: Bench
    status: Literal["complete", "nothing_fits", "incomplete"]
    allotments: tuple[Allotment, ...]
    alone: Mapping[str, Answer]
    contested: tuple[str, ...] = ()
    hopeless: tuple[str, ...] = ()
    seconds: float = 0.0
    counts: Mapping[str, int] = field(default_factory=dict)
    stopped_by: Reason | None = None

    def __len__(self) -> int:
        return len(self.allotments)

    def __iter__(self) -> Iterator[Allotment]:
        return iter(self.allotments)


@dataclass(frozen=True, slots=True)
class Means:
    """What one engine is given: most that it may take of some parts from the shelf, most that it may spend."""

    shelf: frozenset[tuple[str, int]] = frozenset()
    most: float | None = None

    def with_fewer(self, part: str, count: int) -> Means:
        """The same with at most so many of a part."""
        return replace(self, shelf=frozenset({**dict(self.shelf), part: count}.items()))

    def with_less(self, most: float) -> Means:
        """The same with at most so much money."""
        return replace(self, most=most if self.most is None else min(most, self.most))


Lists = dict[tuple[str, Means], list[tuple[Plan, int, Answer]]]
"""Lists that other questions to the same catalogue have asked for: engine and means to plan, length and list."""


class _Lists:
    """The ranked list of each engine for what it is given: asked for once, longer when it is read further."""

    def __init__(self, catalogue: Catalogue, bench: Bench, clock: Clock, progress: Progress, known: Lists) -> None:
        self.catalogue = catalogue
        self.bench = bench
        self.clock = clock
        self.progress = progress
        self.asked = 0
        self._known = known
        self._answers: dict[tuple[str, Means], tuple[int, Answer]] = {}

    def answer(self, engine: str, means: Means, length: int = FIRST_LENGTH) -> Answer:
        """An engine's list, of at least so many where there are."""
        asked, found = self._answers.get((engine, means), (0, None))
        if found is None or (asked < length and len(found) == asked):
            self.clock.check()
            asked, found = self._ask(engine, means, max(length, 2 * asked))
            self._answers[engine, means] = asked, found
        return found

    def _ask(self, engine: str, means: Means, length: int) -> tuple[int, Answer]:
        """A list that another question has asked for, or the search's; and how long it was to be."""
        catalogue, plan = self._given(engine, means)
        known = self._known.setdefault((engine, means), [])
        for same, listed, answer in known:
            if same == plan and listed >= length:
                return listed, answer
        self.asked += 1
        self.progress(f"{engine}: {self.asked} lists")
        found = find(catalogue, plan, top=length, seconds=self.clock.left, progress=None)
        if found.status == "incomplete":
            self.clock.over = found.stopped_by
            raise OutOfTimeError
        known.append((plan, length, found))
        return length, found

    def at(self, engine: str, means: Means, place: int) -> Checked | None:
        """The combination at a place of an engine's list, None after its end."""
        found = self.answer(engine, means, place + 1).combinations
        return found[place] if place < len(found) else None

    def plan(self, engine: str, most: float | None = None) -> Plan:
        """An engine's plan, its cost limited by what all of them may cost, and by ``most``."""
        plan = self.bench.engines[engine]
        most = most if self.bench.budget is None else min(self.bench.budget, _or_infinite(most))
        if most is None:
            return plan
        given = plan.goals.get("cost", Goal("cost", step=FIGURES["cost"].step))
        least = min(most, _or_infinite(given.maximum))
        return plan.but(goals={**plan.goals, "cost": replace(given, maximum=least)})

    def alone(self, engine: str) -> Answer:
        """An engine's answer with the whole shelf and the whole budget to itself."""
        plan = self.plan(engine)
        if eased(plan) == plan:
            return self.answer(engine, Means())
        found = find(self.catalogue, plan, top=FIRST_LENGTH, seconds=self.clock.left, progress=None)
        if found.status == "incomplete":
            raise OutOfTimeError
        return found

    def _given(self, engine: str, means: Means) -> tuple[Catalogue, Plan]:
        plan = eased(self.plan(engine, means.most))
        if not means.shelf:
            return self.catalogue, plan
        fewer = dict(means.shelf)
        parts, gone = [], set()
        for part in self.catalogue:
            if part.id in fewer and fewer[part.id] < part.on_shelf:
                if fewer[part.id] == 0 and part.price is None:
                    gone.add(part.id)  # one thing, and another engine has it
                parts.append(replace(part, on_shelf=fewer[part.id]))
            else:
                parts.append(part)
        return Catalogue.of(parts, self.catalogue.folder), plan.but(avoid=plan.avoid | gone)


def _or_infinite(value: float | None) -> float:
    return float("inf") if value is None else value


class _Search:
    """Questions, each what every engine is given, and their sums in order."""

    def __init__(self, catalogue: Catalogue, bench: Bench, clock: Clock, progress: Progress, known: Lists) -> None:
        self.catalogue = catalogue
        self.bench = bench
        self.lists = _Lists(catalogue, bench, clock, progress, known)
        self.names = tuple(bench.engines)
        self.looked = 0
        self.contested: dict[str, None] = {}
        self._heap: list[tuple[tuple[Any, ...], int, tuple[int, ...], bool]] = []
        self._settled: dict[tuple[int, tuple[int, ...]], dict[str, Checked]] = {}
        self._questions: list[tuple[Means, ...]] = []
        self._asked: set[tuple[Means, ...]] = set()
        self._seen: set[tuple[int, tuple[int, ...]]] = set()
        self._split: set[int] = set()

    def found(self) -> Iterator[Allotment]:
        """Allotments, closest first, none twice."""
        self._ask([tuple(Means() for _ in self.names)])
        told: set[Any] = set()
        while self._heap:
            tick()
            key, question, places, settled = heapq.heappop(self._heap)
            if settled:
                if key[5:] not in told:
                    told.add(key[5:])
                    yield Allotment(self._settled[question, places], key)
                continue
            if question in self._split:
                continue
            self.looked += 1
            allotted, narrower = self._shared_out(question, self._own(question, places))
            if narrower:
                self._split.add(question)
                self._ask(narrower)
                continue
            if allotted is not None:
                self._settled[question, places] = allotted
                heapq.heappush(self._heap, (summed(allotted), question, places, True))
            for at in range(len(places)):
                self._push(question, (*places[:at], places[at] + 1, *places[at + 1 :]))

    def _ask(self, narrower: list[tuple[Means, ...]]) -> None:
        for means in narrower:
            if means not in self._asked:
                self._asked.add(means)
                self._questions.append(means)
                self._push(len(self._questions) - 1, (0,) * len(self.names))

    def _push(self, question: int, places: tuple[int, ...]) -> None:
        if (question, places) in self._seen:
            return
        self._seen.add((question, places))
        own = self._own(question, places)
        if len(own) == len(self.names):
            heapq.heappush(self._heap, (summed(own), question, places, False))

    def _own(self, question: int, places: tuple[int, ...]) -> dict[str, Checked]:
        """What the engines' own lists hold at some places; one whose list has ended is not there."""
        listed = {
            name: self.lists.at(name, means, place)
            for name, means, place in zip(self.names, self._questions[question], places, strict=True)
        }
        return {name: checked for name, checked in listed.items() if checked is not None}

    def _shared_out(
        self, question: int, own: dict[str, Checked]
    ) -> tuple[dict[str, Checked] | None, list[tuple[Means, ...]]]:
        """The engines' combinations as the shelf is best shared out among them, or what they may be given instead.

        Neither, where only a goal stands against it that more to buy might bring nearer.
        """
        means = self._questions[question]
        takes = {name: taken(own[name].combination) for name in self.names}
        short: dict[str, int] = {}
        for part in sorted({part for each in takes.values() for part in each}):
            over = sum(each[part] for each in takes.values()) - self._held(part)
            if over <= 0 or part in self.bench.unshared:
                continue
            self.contested[part] = None
            short[part] = over
            if self._price(part) is None and sum(1 for each in takes.values() if each[part]) > self._held(part):
                return None, self._without(means, part, takes)  # not one for each
        before = sum(checked.cost or 0.0 for checked in own.values())
        if before > _or_infinite(self.bench.budget) + MONEY_UNIT / 2:
            return None, self._cheaper(means, own, before)
        shares = Shares(self.catalogue, self.bench, {name: each.combination for name, each in own.items()})
        best = shares.best({name: self.lists.plan(name) for name in self.names}, self.lists.clock.check)
        if best is not None or not short or shares.eased_fits:
            return best, []
        split = max(short, key=lambda part: (short[part] * (self._price(part) or 0.0), part))  # soonest costs too much
        return None, self._without(means, split, takes)

    def _held(self, part: str) -> int:
        held = self.catalogue.get(part)
        assert held is not None
        return held.on_shelf

    def _price(self, part: str) -> float | None:
        held = self.catalogue.get(part)
        assert held is not None
        return held.price

    def _without(
        self, means: tuple[Means, ...], part: str, takes: Mapping[str, Counter[str]]
    ) -> list[tuple[Means, ...]]:
        """One of the engines takes fewer of a part from the shelf, whichever it is."""
        return [
            (*means[:at], means[at].with_fewer(part, takes[name][part] - 1), *means[at + 1 :])
            for at, name in enumerate(self.names)
            if takes[name][part]
        ]

    def _cheaper(self, means: tuple[Means, ...], own: dict[str, Checked], before: float) -> list[tuple[Means, ...]]:
        """One of the engines costs less, whichever it is: their shares sum to the budget."""
        paying = [(at, own[name].cost or 0.0) for at, name in enumerate(self.names) if own[name].cost]
        share = (before - _or_infinite(self.bench.budget)) / len(paying)
        return [
            (*means[:at], means[at].with_less(cost - share), *means[at + 1 :]) for at, cost in paying if cost >= share
        ]


def money_is_only_limited(plan: Plan) -> bool:
    """Whether more money never brings an engine nearer to anything; to spend as little as can be may be aimed at."""
    goal = plan.goals.get("cost")
    return goal is None or eased(Plan(goals={"cost": goal})).goals.get("cost") == goal


def find_for_bench(
    catalogue: Catalogue,
    bench: Bench,
    top: int = 10,
    seconds: float = DEFAULT_SECONDS,
    progress: Progress | None = None,
    known: Lists | None = None,
) -> BenchAnswer:
    """The allotments of the shelf's parts to several engines that fit all their plans, closest in sum first.

    The order's keys are the engines' summed: goals not established, closeness, cost, gaskets, machining; then the ids.

    Args:
        catalogue: the parts that the engines share, as ``kitwright.catalogs.load`` reads them.
        bench: the engines' plans, and what all of them may cost.
        top: how many allotments to list.
        seconds: time limit; when it is reached the answer is ``incomplete``, and what is listed is the closest.
        progress: called with a line of text now and then.
        known: the engines' lists, kept from one question to the next; both have to be asked of the same catalogue.

    Raises:
        ValueError: ``top`` is not positive, no engine is named, or a plan asks of the cost more than not to exceed one.
    """
    if top < 1:
        raise ValueError(f"the number of allotments wanted is {top}; at least 1")
    if not bench.engines:
        raise ValueError("a bench without an engine")
    for name, plan in bench.engines.items():
        if not money_is_only_limited(plan):
            raise ValueError(f"of several engines the cost can only be limited (`max`): {name}")
    with Clock(seconds) as clock:
        return _allotted(catalogue, bench, top, clock, progress, known)


def _allotted(
    catalogue: Catalogue, bench: Bench, top: int, clock: Clock, progress: Progress | None, known: Lists | None
) -> BenchAnswer:
    search = _Search(catalogue, bench, clock, progress or (lambda _: None), {} if known is None else known)
    found: list[Allotment] = []
    alone: dict[str, Answer] = {}
    hopeless: tuple[str, ...] = ()
    status: Literal["complete", "nothing_fits", "incomplete"] = "complete"
    stopped_by: Reason | None = None
    try:
        for name in bench.engines:
            alone[name] = search.lists.alone(name)
        hopeless = tuple(name for name in bench.engines if not len(search.lists.answer(name, Means())))
        if not hopeless:
            for allotment in search.found():
                found.append(allotment)
                if len(found) == top:
                    break
        if not found:
            status = "nothing_fits"
    except STOPS as stop:
        status, stopped_by = "incomplete", clock.ended_by(stop)
    counts = {"lists": search.lists.asked, "sums": search.looked}
    contested = tuple(search.contested)
    return BenchAnswer(bench, status, tuple(found), alone, contested, hopeless, clock.spent, counts, stopped_by)
