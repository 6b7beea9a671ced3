"""The closest combinations, in the plan's order, with proof that none is missing.

CP-SAT proposes, the plain check decides. The order's keys (goals not established, closeness, cost, gaskets, machining)
are integers of the model and lower bounds of what the check finds, so regions of the search are worked through in that
order: the least key is proved, its region is enumerated whole, and a region with too many answers is split by the next
key, in the end by the ids. What is found is final when no region that is left can hold a smaller key.
"""

from __future__ import annotations

import bisect
import math
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from itertools import product
from operator import itemgetter
from typing import Any, Literal

import numpy as np

from kitwright.solver.candidates import Candidates, candidates
from kitwright.solver.catalogue import Catalogue
from kitwright.solver.check import check, judge
from kitwright.solver.classes import Choice, Facets, combine
from kitwright.solver.combination import Combination
from kitwright.solver.encode import Encoder
from kitwright.solver.engine import FAR, KEYS, Clock, Collector, Model, OutOfTimeError
from kitwright.solver.explain import conflict
from kitwright.solver.facets import Builder
from kitwright.solver.parts import KINDS
from kitwright.solver.plan import Plan
from kitwright.solver.prune import caps, prune
from kitwright.solver.result import Answer, Checked, Considered
from kitwright.solver.stackup import Spreads
from kitwright.solver.terms import MONEY_UNIT, Mask, Terms
from kitwright.solver.translate import Maker, wanted_leaves

DEFAULT_SECONDS = 60.0
AT_ONCE, FOR_EACH = 60, 3
"""Answers of one region that are enumerated before it is split, or so many for each that is wanted."""

FIRST_WINDOW, NARROWER = 5, 8
"""Cheapest first: up to a fifth over the least cost at once; where that is too many, an eighth of it, and so on.

Proving a least cost takes longer than enumerating a window, so that few wide windows beat many narrow ones.
"""

SMALL = 20_000
"""Rows multiplied over the facets up to which everything is enumerated at once."""

Progress = Callable[[str], None]
Proposed = tuple[tuple[Any, ...], Combination, list[list[Choice]]]
"""A lower bound of a combination's key, the first of them by id, and what stands behind each of its rows."""


@dataclass
class Best:
    """The best combinations so far, by the order's key."""

    wanted: int
    keys: list[tuple[Any, ...]] = field(default_factory=list)
    found: list[Combination] = field(default_factory=list)
    seen: set[Any] = field(default_factory=set)

    def offer(self, key: tuple[Any, ...], combination: Combination) -> None:
        """Take a fitting combination into the list, if it is among the best."""
        place = bisect.bisect_left(self.keys, key)
        if place >= self.wanted or (place < len(self.keys) and self.keys[place] == key):
            return
        self.keys.insert(place, key)
        self.found.insert(place, combination)
        del self.keys[self.wanted :], self.found[self.wanted :]

    @property
    def full(self) -> bool:
        """Whether as many as wanted have been found."""
        return len(self.keys) >= self.wanted

    def closed(self, lower: tuple[Any, ...]) -> bool:
        """Whether nothing from ``lower`` on (a prefix of the key, as a lower bound) can enter the list any more."""
        return self.full and self.keys[-1][: len(lower)] < lower


class Search:
    """One question to one catalogue."""

    def __init__(
        self,
        options: Candidates,
        plan: Plan,
        wanted: int,
        clock: Clock,
        progress: Progress | None,
        tables: bool = True,
    ) -> None:
        self.plan = plan
        self.clock = clock
        self.progress = progress or (lambda _: None)
        self.best = Best(wanted)
        self.counts = {"solves": 0, "branches": 0, "proposed": 0, "checked": 0, "classes": 0}
        self.proven = "nothing yet"
        self.spreads: Spreads = {}
        self.any_will_do = False
        """Whether one answer, however close, is enough."""
        self.facets: Facets = Builder(options, wanted_leaves(plan), clock.check).build()
        self.maker = Maker(self.facets, plan, clock.check)
        self.terms: Terms = self.maker.make(tables)
        self.alive = prune(self.terms, self.terms.alive)
        self.orders = self._id_orders()

    def _id_orders(self) -> dict[str, list[Any]]:
        found: dict[str, list[Any]] = {}
        for facet in self.facets.facets.values():
            found |= {kind: names for kind, (_, names) in facet.ranks.items()}
        return {kind: found[kind] for kind in KINDS if kind in found}

    @property
    def empty(self) -> bool:
        """Whether pruning alone has shown that nothing fits."""
        return not all(mask.any() for mask in self.alive.values())

    def run(self) -> None:
        """Fill :attr:`best`; raises :class:`OutOfTimeError` when the time is up first."""
        if self.empty:
            return
        always = sum(lack.always for lack in self.terms.lacks)
        if math.prod(int(mask.sum()) for mask in self.alive.values()) <= SMALL:
            whole = self._model(self.alive, FAR)
            if self._collect(whole, {}):
                return
        for unproved in range(always, len(self.terms.lacks) + 1):
            if self.best.closed((unproved,)):
                return
            self._level(unproved, proved_only=unproved == always)

    # regions

    def _level(self, unproved: int, proved_only: bool) -> None:
        """All of one number of goals not established, closeness upwards."""
        held = {"unproved": (unproved, unproved)}
        rows = self._established() if proved_only else self.alive
        low, width = 0, 0
        while not self.best.closed((unproved, low)):
            model, found = self._next_closeness(rows, held, low)
            if model is None:
                return
            self.proven = f"no combination is closer than {found}"
            if unproved:
                self.proven += f" with {unproved} goal{'s' if unproved > 1 else ''} not established"
            self.progress(f"closeness {found}: {len(self.best.found)} found")
            if self.best.closed((unproved, found)):
                return
            high = found + width
            if high != model.most:  # fewer rows and levels, or as many as the window needs
                model = self._model(self._capped(rows, high), high)
            before = len(self.best.found)
            if self._collect(model, held | {"closeness": (found, high)}):
                width = width * 2 + 1 if len(self.best.found) - before < self.best.wanted else width
                low = high + 1
            else:
                self._split(model, rows, held | {"closeness": (found, found)}, (unproved, found), 2)
                width, low = 0, found + 1

    def _established(self) -> dict[str, Mask]:
        """Rows without any that leaves a goal not established."""
        alive = {each: mask.copy() for each, mask in self.alive.items()}
        for lack in self.terms.lacks:
            for each, flags in lack.flags.items():
                if not lack.always:
                    alive[each] &= ~flags
        return prune(self.terms, alive)

    def _next_closeness(
        self, rows: dict[str, Mask], held: dict[str, tuple[int, int]], low: int
    ) -> tuple[Model | None, int]:
        """The least closeness from ``low`` on, with a model that reaches it; None where there is none."""
        reach = 0
        while True:
            most = min(low + reach, FAR)
            within = self._capped(rows, most)
            if all(mask.any() for mask in within.values()):
                model = self._model(within, most)
                status, solver = self._solve(model, held | {"closeness": (low, most)})
                if status != "none":
                    if reach == 0:
                        return model, low
                    reached = int(solver.value(model.keys["closeness"]))
                    status, solver = self._solve(model, held | {"closeness": (low, reached)}, "closeness")
                    return model, int(solver.value(model.keys["closeness"]))
            if most >= FAR:
                return None, 0
            reach = reach * 2 + 1 if reach < 4096 else FAR

    def _capped(self, rows: dict[str, Mask], most: int) -> dict[str, Mask]:
        """Rows that a greatest closeness leaves."""
        if most >= FAR:
            return rows
        alive = {each: mask.copy() for each, mask in rows.items()}
        return prune(self.terms, alive, caps(self.terms, most, alive))

    def _split(
        self,
        model: Model,
        rows: dict[str, Mask],
        held: dict[str, tuple[int, int]],
        prefix: tuple[Any, ...],
        depth: int,
    ) -> None:
        """Work through a region by its next key, least first."""
        names = list(model.keys)
        if depth == len(KEYS) == len(names):
            most = held["closeness"][1]
            model = self._model(self._capped(rows, most), most, ids=True)
            names = list(model.keys)
        if depth >= len(names):
            self._collect(model, held, at_once=FAR)
            return
        name = names[depth]
        if name == "unknown_cost" and not self._may_lack_prices(rows):
            self._split(model, rows, held | {name: (0, 0)}, prefix, depth + 1)
            return
        if name == "cost" and held["unknown_cost"] == (1, 1):
            self._split(model, rows, held, (*prefix, (1, 0.0)), depth + 1)
            return
        low, width = 0, None
        while not self.best.closed((*prefix, *self._lower(name, low))):
            status, solver = self._solve(model, held | {name: (low, self._highest(name, prefix))}, name)
            if status == "none":
                return
            found = int(solver.value(model.keys[name]))
            if self.best.closed((*prefix, *self._lower(name, found))):
                return
            if width is None:
                width = found // FIRST_WINDOW if name == "cost" else 0
            before = len(self.best.found)
            whole = self._collect(model, held | {name: (found, found + width)})
            while not whole and width:  # too many at once: nearer the least of them
                width //= NARROWER
                whole = self._collect(model, held | {name: (found, found + width)})
            if not whole:
                exact = (*prefix, *self._exactly(name, found))
                self._split(model, rows, held | {name: (found, found)}, exact, depth + 1)
            low = found + width + 1
            if whole and len(self.best.found) - before < self.best.wanted:
                width = width * 4 + (max(found // 50, int(1 / MONEY_UNIT)) if name == "cost" else 0)

    def _may_lack_prices(self, rows: dict[str, Mask]) -> bool:
        return any(bool(self.facets.facets[each].unknown[mask].any()) for each, mask in rows.items())

    def _highest(self, name: str, prefix: tuple[Any, ...]) -> int:
        """The highest cost that can still enter the list: the last one's, where it is as close."""
        if name != "cost" or not self.best.full or self.best.keys[-1][:2] != prefix[:2] or self.best.keys[-1][2][0]:
            return FAR
        highest: float = self.best.keys[-1][2][1]
        return math.ceil(highest / MONEY_UNIT) + 1

    def any(self) -> bool | None:
        """Whether anything fits, by a first look: None where that does not decide it."""
        self.any_will_do = True
        if self.empty:
            return False
        few = {each: _spread_out(mask) for each, mask in self.alive.items()}
        if any(few[each] is not mask for each, mask in self.alive.items()):
            few = prune(self.terms, few)
            if all(mask.any() for mask in few.values()):
                self._collect(self._model(few, FAR), {})
                if self.best.found:
                    return True
        complete = self._collect(self._model(self.alive, FAR), {})
        if self.best.found:
            return True
        return False if complete else None

    def any_of(self, rows: Mapping[str, Mask]) -> bool:
        """Whether anything fits that takes its rows of some facets from these."""
        alive = prune(self.terms, {each: mask & rows.get(each, True) for each, mask in self.alive.items()})
        if not all(mask.any() for mask in alive.values()):
            return False
        self.best = Best(1)
        model = self._model(alive, FAR)
        complete = self._collect(model, {})
        if not complete and not self.best.found:
            self._collect(model, {}, at_once=FAR)
        return bool(self.best.found)

    def _lower(self, name: str, value: int) -> tuple[Any, ...]:
        """A key's value in the model as a lower bound of the check's key."""
        if name == "unknown_cost":
            return ((value, 0.0),)
        if name == "cost":
            return ((0, _money(value)),)
        names = self.orders.get(name)
        if names is not None:
            after: Any = (_AFTER_ALL,) if name == "gasket" else _AFTER_ALL
            return (*self._left_out(name), names[value] if value < len(names) else after)
        return (value,)

    def _left_out(self, kind: str) -> tuple[Any, ...]:
        """What stands in the check's key for the kinds before this one that are not searched."""
        found: list[Any] = []
        for before in KINDS:
            if before == kind:
                break
            if before in self.orders:
                found.clear()
            else:
                found.append(() if before == "gasket" else "")
        return tuple(found)

    def _exactly(self, name: str, value: int) -> tuple[Any, ...]:
        """What a fixed key adds to the prefix; the two keys of cost are one of the check's."""
        return () if name == "unknown_cost" else self._lower(name, value)

    # solving

    def _model(self, rows: dict[str, Mask], most: int, ids: bool = False) -> Model:
        encoder = Encoder(self.terms, rows, most, ids)
        model = encoder.build()
        model.most = most
        self.counts["classes"] = max(self.counts["classes"], model.size)
        return model

    def _solve(self, model: Model, bounds: dict[str, tuple[int, int]], minimise: str | None = None) -> tuple[str, Any]:
        self.counts["solves"] += 1
        free = {name: (0, min(FAR, model.most) if name == "closeness" else FAR) for name in model.keys}
        status, solver = model.solve(free | bounds, self.clock, minimise)
        self.counts["branches"] += solver.num_branches
        return status, solver

    def _collect(self, model: Model, bounds: dict[str, tuple[int, int]], at_once: int | None = None) -> bool:
        """Enumerate a region and offer what passes the check; False where it holds more than is enumerated at once."""
        self.counts["solves"] += 1
        free = {name: (0, min(FAR, model.most) if name == "closeness" else FAR) for name in model.keys}
        collector = Collector(model, at_once or max(AT_ONCE, FOR_EACH * self.best.wanted))
        status, solver = model.solve(free | bounds, self.clock, callback=collector)
        self.counts["branches"] += solver.num_branches
        self.counts["proposed"] += len(collector.found)
        self._offer(each for picked, keys in collector.found for each in self._expanded(model, picked, keys))
        return status == "none" or not collector.full

    def _offer(self, proposed: Iterator[Proposed]) -> None:
        """Check what is proposed and take what fits: least first, so that most of the rest need no check.

        Rows of one class may differ in what the model rounds, so each choice of rows is checked; parts behind one row
        are equal in all that the plan can see, so that one verdict serves them all, and of them only the first by id
        can be among those wanted.
        """
        for least, first, choices in proposed if self.any_will_do else sorted(proposed, key=itemgetter(0)):
            if self.best.closed(least):
                break
            self.counts["checked"] += 1
            self.clock.check()
            verdict = judge(first, self.plan, self.spreads)
            if not verdict.fits:
                continue
            if self.any_will_do:
                self.best.offer(verdict.key, first)
                return
            for some in _leading(choices, self.best.wanted):
                combination = combine(some)
                key = (*verdict.key[:5], *combination.tie_key())
                if not self.best.closed(key):
                    self.best.offer(key, combination)

    def _expanded(self, model: Model, picked: dict[str, int], keys: dict[str, int]) -> Iterator[Proposed]:
        """All choices of rows of one choice of classes, but for those that can not be among the best any more."""
        least = (*(keys["unproved"], keys["closeness"]), *self._lower_cost(keys), keys["layers"], keys["operations"])
        rows = [
            (self.facets.facets[each].expand, model.classes[each][number].tolist()) for each, number in picked.items()
        ]
        for chosen in product(*(numbers for _, numbers in rows)):
            choices = [list(expand(row)) for (expand, _), row in zip(rows, chosen, strict=True)]
            first = combine([some[0] for some in choices])
            key = (*least, *first.tie_key())
            self.clock.check()
            if not self.best.closed(key):
                yield key, first, choices

    @staticmethod
    def _lower_cost(keys: dict[str, int]) -> tuple[Any, ...]:
        return ((keys["unknown_cost"], 0.0 if keys["unknown_cost"] else _money(keys["cost"])),)


def _money(units: int) -> float:
    """Money of the model, which is rounded down, as the check's key has it: equal where a price is whole in it."""
    return round(units * MONEY_UNIT, 6)


_AFTER_ALL = chr(0x10FFFF)

SAMPLE = 200
"""Rows of a facet that a first look takes: a small model finds an answer at once where there are many."""


def _spread_out(mask: Mask) -> Mask:
    """Of the rows that are alive, some over the whole length; the same mask where there are few."""
    rows = np.flatnonzero(mask)
    if len(rows) <= SAMPLE:
        return mask
    found = np.zeros_like(mask)
    found[rows[np.linspace(0, len(rows) - 1, SAMPLE).astype(np.int64)]] = True
    return found


def _leading(choices: list[list[Choice]], wanted: int) -> Iterator[list[Choice]]:
    """Of all ways to take one of each (each sorted), those that fewer than ``wanted`` others surely come before."""
    if not choices:
        yield []
        return
    for place, choice in enumerate(choices[0][:wanted]):
        for rest in _leading(choices[1:], wanted // (place + 1)):
            yield [choice, *rest]


def find(
    catalogue: Catalogue,
    plan: Plan,
    top: int = 10,
    seconds: float = DEFAULT_SECONDS,
    progress: Progress | None = None,
    why: bool = False,
) -> Answer:
    """The combinations that fit a plan, closest first, proven complete.

    Args:
        catalogue: the parts, as ``kitwright.catalogs.load`` reads them.
        plan: what is wanted.
        top: how many combinations to list.
        seconds: time limit of the search; when it is reached the answer is ``incomplete``.
        progress: called with a line of text now and then.
        why: whether an answer without combinations says why nothing fits, in the time that is left.

    Returns:
        An :class:`~kitwright.solver.result.Answer`: ``complete``, ``nothing_fits`` or ``incomplete``.

    Raises:
        ValueError: ``top`` is not positive, or a value is too large for the model's integers.
    """
    if top < 1:
        raise ValueError(f"the number of combinations wanted is {top}; at least 1")
    clock = Clock(seconds)
    options = candidates(catalogue, plan)
    considered = Considered(options.possible, options.parts_out)
    if options.empty_kinds:
        return _nothing(catalogue, plan, considered, clock, {}, why)
    search: Search | None = None
    complete = False
    try:
        search = Search(options, plan, top, clock, progress)
        search.run()
        complete = True
    except (OutOfTimeError, KeyboardInterrupt):
        pass  # the answer says so
    if search is None:
        return Answer(plan, "incomplete", (), considered, None, "nothing yet", clock.spent)
    found: list[Checked] = []
    proven = "" if complete else search.proven
    try:
        search.progress(f"checking {len(search.best.found)} found" + ("" if complete else ", then stopping"))
        for checked in _checked(search, plan):
            found.append(checked)
    except KeyboardInterrupt:  # what is ready is the head of the list
        if complete:
            proven = f"the {len(found)} listed are the closest, in order"
        complete = False
    if complete and not found:
        return _nothing(catalogue, plan, considered, clock, search.counts, why)
    status: Literal["complete", "incomplete"] = "complete" if complete else "incomplete"
    return Answer(plan, status, tuple(found), considered, None, proven, clock.spent, search.counts)


def witness(catalogue: Catalogue, plan: Plan, seconds: float = DEFAULT_SECONDS) -> Combination | None:
    """Any combination that fits a plan, however close; None where nothing fits: quicker than finding the closest.

    Raises:
        OutOfTimeError: the time was up before that was decided.
    """
    options = candidates(catalogue, plan)
    if options.empty_kinds:
        return None
    clock = Clock(seconds)
    for tables in (False, True):  # the tables cost most and seldom decide it
        search = Search(options, plan, 1, clock, None, tables)
        if search.any() is not None:
            break
    else:
        search.any_will_do = False
        search.run()
    return search.best.found[0] if search.best.found else None


def _nothing(
    catalogue: Catalogue, plan: Plan, considered: Considered, clock: Clock, counts: dict[str, int], why: bool
) -> Answer:
    reason = conflict(catalogue, plan, find, witness, max(clock.left, 1.0)) if why else None
    return Answer(plan, "nothing_fits", (), considered, reason, "", clock.spent, counts)


def _checked(search: Search, plan: Plan) -> Iterator[Checked]:
    for combination in search.best.found:
        checked = check(combination, plan, spreads=False, known=search.spreads)
        if checked.fits:
            yield checked
