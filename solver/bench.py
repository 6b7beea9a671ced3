"""Several engines off one bench: parts on the shelf are allotted among them, none twice, closest in sum.

Each engine is a question of its own to the same catalogue, and :func:`~kitwright.solver.search.find` answers it in
order, proven. Allotments are sums of such answers, least first, each lower bound made exact before it counts. Where the
engines of one together take more of a part from the shelf than lies there, or cost more than there is to spend, some
engine must do with less in whatever is possible: the question is split into one for each engine that might, with fewer
of that part on its shelf or less money. Every possible allotment is in one of the new questions, the one that was split
off is in none, and no sum in them is smaller than its engines' own best: so the first sum that holds is the closest,
and what follows comes in order.

In one allotment a part is taken from the shelf as often as it lies there. One that has a price may be bought again; one
without a price that lies on the shelf is one thing, and whoever does not get it does without.
"""

from __future__ import annotations

import heapq
from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from itertools import product
from typing import Any, Literal

from kitwright.solver.catalogue import Catalogue
from kitwright.solver.check import check
from kitwright.solver.combination import Combination
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
        seconds: how long it took.
        counts: how often an engine was asked anew, and how many sums were looked at.
        stopped_by: what ended an incomplete search.
    """

    bench: Bench
    status: Literal["complete", "nothing_fits", "incomplete"]
    allotments: tuple[Allotment, ...]
    alone: Mapping[str, Answer]
    contested: tuple[str, ...] = ()
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

    def _given(self, engine: str, means: Means) -> tuple[Catalogue, Plan]:
        plan = self.plan(engine, means.most)
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


def uses(combination: Combination) -> Counter[str]:
    """How many of each part a combination takes, by id."""
    found = Counter(part.id for part in combination.parts.values())
    found.update(part.id for part in combination.gaskets)
    return found


def taken(combination: Combination) -> Counter[str]:
    """How many of each part a combination takes from the shelf, by id."""
    shelf = {part.id: part.on_shelf for part in (*combination.parts.values(), *combination.gaskets)}
    return +Counter({part: min(count, shelf[part]) for part, count in uses(combination).items()})


def summed(allotted: Mapping[str, Checked]) -> tuple[Any, ...]:
    """The order's key of an allotment: the engines' own keys summed, then their ids, engine after engine."""
    keys = [each.key for each in allotted.values()]
    return (
        sum(key[0] for key in keys),
        sum(key[1] for key in keys),
        (sum(key[2][0] for key in keys), round(sum(key[2][1] for key in keys), 6)),
        sum(key[3] for key in keys),
        sum(key[4] for key in keys),
        *(key[5:] for key in keys),
    )


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
            if question in self._split:
                continue
            if settled:
                if key[5:] not in told:
                    told.add(key[5:])
                    yield Allotment(self._settled[question, places], key)
                continue
            self.looked += 1
            allotted, narrower = self._shared_out(question, self._own(question, places))
            if narrower:
                self._split.add(question)
                self._ask(narrower)
                continue
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

    def _shared_out(self, question: int, own: dict[str, Checked]) -> tuple[dict[str, Checked], list[tuple[Means, ...]]]:
        """The engines' combinations with what is bought again, or what the engines may be given instead."""
        means = self._questions[question]
        takes = {name: taken(own[name].combination) for name in self.names}
        short: dict[str, int] = {}
        for part_id in sorted({part for each in takes.values() for part in each}):
            part = self.catalogue.get(part_id)
            assert part is not None
            over = sum(each[part_id] for each in takes.values()) - part.on_shelf
            if over > 0 and part_id not in self.bench.unshared:
                self.contested[part_id] = None
                if part.price is None:
                    return {}, self._without(means, part_id, takes)
                short[part_id] = over
        before = sum(checked.cost or 0.0 for checked in own.values())
        if before > _or_infinite(self.bench.budget) + MONEY_UNIT / 2:
            return {}, self._cheaper(means, own, before)
        for bought in _bought(short, takes):
            allotted = self._buying(own, bought, takes)
            if allotted is not None:
                return allotted, []
        dearest = max(short, key=lambda part: (short[part] * self._price(part), part))  # which soonest costs too much
        return {}, self._without(means, dearest, takes)

    def _price(self, part: str) -> float:
        held = self.catalogue.get(part)
        return (held.price or 0.0) if held is not None else 0.0

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

    def _buying(
        self, own: dict[str, Checked], bought: Mapping[str, Counter[str]], takes: Mapping[str, Counter[str]]
    ) -> dict[str, Checked] | None:
        """The engines' combinations where some buy what they had taken; None where that breaks a limit."""
        found = {}
        for name, checked in own.items():
            found[name] = checked
            if not bought[name]:
                continue
            shelf = {part: takes[name][part] - count for part, count in bought[name].items()}
            found[name] = check(_with_shelf(checked.combination, shelf), self.lists.plan(name), spreads=False)
            kinds = self.bench.engines[name].shelf_only
            short = (self.catalogue.get(part) for part in bought[name])
            if not found[name].fits or any(part is not None and part.kind in kinds for part in short):
                return None
        costs = [each.cost for each in found.values()]
        total = sum(cost or 0.0 for cost in costs)
        return found if total <= _or_infinite(self.bench.budget) + MONEY_UNIT / 2 else None


def money_is_only_limited(plan: Plan) -> bool:
    """Whether more money never brings an engine nearer to anything: only then does who pays not matter to a sum."""
    goal = plan.goals.get("cost")
    return goal is None or (goal.ranked_by is None and goal.minimum is None)


def _bought(short: Mapping[str, int], takes: Mapping[str, Counter[str]]) -> Iterator[dict[str, Counter[str]]]:
    """Every way to say who buys what the shelf is short of; the engines named last buy first."""
    ways = []
    for part, over in short.items():
        takers = [name for name in reversed(list(takes)) if takes[name][part]]
        tick()
        counts = product(*(range(takes[name][part], -1, -1) for name in takers))
        ways.append([(part, dict(zip(takers, each, strict=True))) for each in counts if sum(each) == over])
    for chosen in product(*ways):
        tick()
        found: dict[str, Counter[str]] = {name: Counter() for name in takes}
        for part, each in chosen:
            for name, count in each.items():
                found[name] += Counter({part: count})
        yield found


def _with_shelf(combination: Combination, shelf: Mapping[str, int]) -> Combination:
    """The same combination with so many of some parts on the shelf."""

    def counted(part: Any) -> Any:
        return replace(part, on_shelf=shelf[part.id]) if part.id in shelf else part

    parts = {kind: counted(part) for kind, part in combination.parts.items()}
    return replace(combination, parts=parts, gaskets=tuple(map(counted, combination.gaskets)))


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
    status: Literal["complete", "nothing_fits", "incomplete"] = "complete"
    stopped_by: Reason | None = None
    try:
        for name in bench.engines:
            alone[name] = search.lists.answer(name, Means())
        if all(len(each) for each in alone.values()):
            for allotment in search.found():
                found.append(allotment)
                if len(found) == top:
                    break
        if not found:
            status = "nothing_fits"
    except STOPS as stop:
        status, stopped_by = "incomplete", clock.ended_by(stop)
    counts = {"lists": search.lists.asked, "sums": search.looked}
    return BenchAnswer(bench, status, tuple(found), alone, tuple(search.contested), clock.spent, counts, stopped_by)
