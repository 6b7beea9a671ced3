"""The search for the closest combinations, region by region of the order's keys, least first.

The keys (goals not established, closeness, cost, gaskets, machining) are integers of the model and lower bounds of what
the plain check finds: the least key is proved, its region is enumerated whole, and a region with too many answers is
split by the next key, in the end by the ids. What is found is final when no region that is left can hold a smaller key.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from functools import cached_property
from typing import Any

import numpy as np

from kitwright.solver import narrow, windows
from kitwright.solver.alike import Alike
from kitwright.solver.candidates import Candidates
from kitwright.solver.classes import Facets
from kitwright.solver.encode import Encoder
from kitwright.solver.engine import FAR, KEYS, Collector, Model
from kitwright.solver.facets import Builder, Keep
from kitwright.solver.layouts import Layouts
from kitwright.solver.parts import KINDS
from kitwright.solver.plan import Plan
from kitwright.solver.proposals import Proposals
from kitwright.solver.prune import least_closeness, prune
from kitwright.solver.ranking import Best, lower_key
from kitwright.solver.stopping import Clock
from kitwright.solver.terms import MONEY_UNIT, Mask, Terms
from kitwright.solver.translate import Maker, wanted_leaves

AT_ONCE, FOR_EACH = 60, 3
"""Answers of one region that are enumerated before it is split, or so many for each that is wanted."""

FIRST_WINDOW, NARROWER = 5, 8
"""Cheapest first: up to a fifth over the least cost at once; where that is too many, an eighth of it, and so on.

Proving a least cost takes longer than enumerating a window, so that few wide windows beat many narrow ones.
"""

MANY_ROWS = 600
"""Rows of all facets together from which on a region is worked through by rungs of cost.

Two hundred to two thousand take about as long; the more rows, the fewer rungs and the slower each of them.
"""

FIRST_RUNG = 200
"""Rows of the first of those rungs: the closest are mostly found among the cheapest."""

SMALL = 20_000
"""Rows multiplied over the facets up to which everything is enumerated at once."""

Progress = Callable[[str], None]


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
        look: Search | None = None,
        partial: bool = False,
        layouts: Layouts | None = None,
        keep: Keep | None = None,
    ) -> None:
        """``look`` is a first look, whose list says which short blocks are needed; ``partial`` if this is one.

        ``layouts`` holds the rows of earlier questions; where the short blocks are sifted, they depend on the list.
        ``keep`` says of short blocks, before anything is made of them, which may be needed.
        """
        self.plan = plan
        self.partial = partial
        self.clock = clock
        self.progress = progress or (lambda _: None)
        self.best: Best = look.best if look is not None else Best(wanted)
        nothing = {"solves": 0, "branches": 0, "proposed": 0, "checked": 0, "classes": 0}
        self.counts: dict[str, int] = look.counts if look is not None else nothing
        self.alike: Alike = look.alike if look is not None else Alike()
        self.any_will_do = False
        """Whether one answer, however close, is enough."""
        sift = self._needed if narrow.ways(options) > narrow.LARGE else None
        builder = Builder(options, wanted_leaves(plan), clock.check, sift, keep)
        if layouts is None or sift is not None or keep is not None:
            self.facets: Facets = builder.build()
        else:
            self.facets = layouts.facets(builder)
        self.maker = Maker(self.facets, plan, clock.check)
        self.terms: Terms = self.maker.make(tables)
        self.alive = prune(self.terms, self.terms.alive)
        self._least: tuple[tuple[Any, ...], int] | None = None
        """Goals not established and closeness, and the least cost at these, where the rows that were asked tell it."""
        self._taken: tuple[tuple[Any, ...], int] | None = None
        """The same, and a cost up to which all that is known is in the list."""
        self.narrowed = windows.Narrowed(self.terms)
        self.proposals = Proposals(self.facets, plan, self.best, clock, self.counts, self.alike)
        self._made: tuple[dict[str, Mask], bool, Model] | None = None

    def _needed(self, some: Facets) -> Mask:
        """Short blocks, of some of them, that can be in an answer as close as the list so far asks for."""
        terms = Maker(some, self.plan, self.clock.check).make(tables=False)
        alive = prune(terms, terms.alive)
        if self.best.full:
            unproved, closeness, (unknown, cost) = self.best.keys[-1][:3]
            if unproved == sum(lack.always for lack in terms.lacks):
                alive = windows.established(terms, alive)
                near = {"closeness": (0, closeness)}
                if not unknown:  # as close as the last, but no dearer; or closer
                    near |= {"unknown_cost": (0, 0), "cost": (0, math.ceil(cost / MONEY_UNIT))}
                closer = windows.within(terms, alive, {"closeness": (0, closeness - 1)})["short"]
                alive = windows.within(terms, alive, near)
                return alive["short"] | closer
        return alive["short"]

    @cached_property
    def orders(self) -> dict[str, list[Any]]:
        """Ids of each kind by rank."""
        found: dict[str, list[Any]] = {}
        for facet in self.facets.facets.values():
            found |= {kind: names for kind, (_, names) in facet.ranks.items()}
        return {kind: found[kind] for kind in KINDS if kind in found}

    def release(self) -> None:
        """Let go of all but the list and what is told of the search: the next one needs the room."""
        del self.facets, self.maker, self.terms, self.alive, self._made, self.narrowed, self.proposals

    def _known_least(self, prefix: tuple[Any, ...]) -> int | None:
        """The least cost of a closeness, where that has been proved and the list is not full."""
        return self._least[1] if not self.best.full and self._least is not None and self._least[0] == prefix else None

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
        rows = windows.established(self.terms, self.alive) if proved_only else self.alive
        low, width = 0, 0
        while not self.best.closed((unproved, low)):
            found, model = self._next_closeness(rows, held, low)
            if found is None:
                return
            if not self.partial:
                self.best.floor = unproved, found
            self.progress(f"closeness {found}: {len(self.best.found)} found")
            if self.best.closed((unproved, found)):
                return
            before = len(self.best.found)
            region = held | {"closeness": (found, found + width)}
            within = self._within(rows, region)
            if windows.empty(within):  # the model's count may be the lower one: nothing of what it reaches goes
                within = rows
            if not width and windows.count(within) > MANY_ROWS:
                self._by_cost(within, region, (unproved, found))
                low = found + 1
            else:
                if model is None or model.most != found + width:
                    model = self._model(within, found + width)
                if self._collect(model, region):
                    low = found + width + 1
                else:
                    self._split(model, rows, held | {"closeness": (found, found)}, (unproved, found), 2)
                    low = found + 1
                    if width:  # too many at once
                        width = 0
                        continue
            width = width * 2 + 1 if len(self.best.found) - before < self.best.wanted else width

    def _next_closeness(
        self, rows: dict[str, Mask], held: dict[str, tuple[int, int]], low: int
    ) -> tuple[int | None, Model | None]:
        """The least closeness from ``low`` on (None: there is none), and a model that reaches it if one was made."""
        reach = 0
        low = max(low, least_closeness(self.terms, rows))
        while True:
            most = min(low + reach, FAR)
            within = self._within(rows, {"closeness": (0, most)})
            if not windows.empty(within):
                low, within = self._least_by_rows(rows, within, low, most)
                reached = self._cheap_closeness(within, held | {"closeness": (low, most)})
                if reached == low:
                    return low, None
                if reached is not None:
                    most = reached
                    within = self._within(rows, {"closeness": (0, most)})
                model = self._model(within, most)
                if reached is None:
                    reached = self._least_of(model, held | {"closeness": (low, most)})
                elif reached > low:
                    reached = self._least_of(model, held | {"closeness": (low, reached)}, ("closeness",))
                if reached is not None:
                    return reached, model
            if most >= FAR:
                return None, None
            low = most + 1
            reach = reach * 2 + 1 if reach < 4096 else FAR

    def _least_by_rows(
        self, rows: dict[str, Mask], within: dict[str, Mask], low: int, most: int
    ) -> tuple[int, dict[str, Mask]]:
        """The least closeness from ``low`` to ``most`` that leaves rows, and those that ``most`` leaves.

        At worst case a limit on quench alone keeps it many steps from its aim: rows say so much sooner than the solver.
        """
        if windows.count(within) <= MANY_ROWS or most >= FAR:
            return low, within
        below, least = low - 1, most
        while least - below > 1:
            middle = (below + least) // 2
            if windows.empty(self._within(rows, {"closeness": (0, middle)})):
                below = middle
            else:
                least = middle
        return least, within

    def _cheap_closeness(self, rows: dict[str, Mask], held: dict[str, tuple[int, int]]) -> int | None:
        """The least closeness that cheap rows reach, where there are many; None where they reach none.

        Rung by rung, each asked for what is closer than those before, until nothing can be.
        """
        if windows.count(rows) <= MANY_ROWS:
            return None
        region = held | {"unknown_cost": (0, 0)}
        low, most = held["closeness"]
        reached: int | None = None
        cheap = self.narrowed.priced(rows)
        if windows.empty(cheap):
            return None
        for high in windows.rungs(self.terms, cheap, FIRST_RUNG):
            if high >= FAR or reached == low:
                break
            nearer = {"closeness": (low, most if reached is None else reached - 1)}
            few = self._within(cheap, region | nearer | {"cost": (0, high)})
            if windows.empty(few):
                continue
            model = self._model(few, nearer["closeness"][1])
            if low == nearer["closeness"][1]:  # no other is asked for: what is there is taken at once
                nearest = self._take_cheap(model, region | nearer, high)
            else:
                nearest = self._least_of(model, held | nearer, cost=high)
            if nearest is not None:
                reached = nearest
            elif reached is None and windows.count(few) > MANY_ROWS:
                return None
        return reached

    def _take_cheap(self, model: Model, held: dict[str, tuple[int, int]], cost: int) -> int | None:
        """Take what is cheap at one closeness; answers that, or None where there is nothing."""
        before = self.counts["proposed"]
        closeness = held["closeness"][0]
        if self._collect(model, held | {"cost": (0, cost)}):
            self._taken = (held["unproved"][0], closeness), cost
        return closeness if self.counts["proposed"] > before else None

    def _least_of(
        self,
        model: Model,
        held: dict[str, tuple[int, int]],
        names: Sequence[str] = ("closeness", "unknown_cost", "cost"),
        cost: int = FAR,
    ) -> int | None:
        """The least closeness of a region, and with it the least cost at that: a fact up to what the rows hold all."""
        if not model.one_after_the_other(names):
            names = names[:1]
        status, solver = self._solve(model, held, names)
        if status == "none":
            return None
        closeness, unknown, least = (int(solver.value(model.keys[name])) for name in KEYS[1:4])
        if len(names) > 1 and not unknown and least <= cost:
            self._least = (held["unproved"][0], closeness), least
        return closeness

    def _by_cost(self, rows: dict[str, Mask], held: dict[str, tuple[int, int]], prefix: tuple[Any, ...]) -> None:
        """Work through one closeness from the cheapest on: a rung of cost leaves few rows, and often fills the list."""
        most = held["closeness"][1]
        low = self._taken[1] + 1 if self._taken is not None and self._taken[0] == prefix else 0
        cheap = self.narrowed.priced(rows)
        for high in windows.rungs(self.terms, cheap, FIRST_RUNG) if not windows.empty(cheap) else ():
            if high < low:
                continue
            if self.best.closed((*prefix, *self._lower("cost", low))):
                return
            top = min(high, self._highest(prefix))
            region = held | {"unknown_cost": (0, 0), "cost": (low, top)}
            few = self._within(cheap, region)
            if not windows.empty(few):
                model = self._model(few, most)
                if not self._collect(model, region):
                    self._split(model, few, region, prefix, 2)
            low = high + 1
        region = held | {"unknown_cost": (1, 1)}
        if not self.best.closed((*prefix, *self._lower("unknown_cost", 1))) and windows.count(cheap) < windows.count(
            rows
        ):
            self._split(self._model(rows, most), rows, region, prefix, 2)

    def _within(self, rows: dict[str, Mask], held: dict[str, tuple[int, int]]) -> dict[str, Mask]:
        """Rows that can be in a combination whose keys are in these ranges."""
        self.clock.check()
        return self.narrowed.within(rows, held)

    def _split(
        self,
        model: Model,
        rows: dict[str, Mask],
        held: dict[str, tuple[int, int]],
        prefix: tuple[Any, ...],
        depth: int,
    ) -> None:
        """Work through a region by its next key, least first."""
        known = KEYS[depth] if depth < len(KEYS) else ""
        if known in model.fixed:
            value = model.fixed[known]
            low, last = held.get(known, (0, FAR))
            if low <= value <= last:
                held = held | {known: (value, value)}
                self._split(model, rows, held, self._prefix(prefix, known, value, held), depth + 1)
            return
        if known == "cost":
            low, last = held.get(known, (0, FAR))
            held = held | {known: (low, min(last, self._highest(prefix)))}
        ids = depth >= len(KEYS)
        fewer = self._within(rows, held)
        if windows.empty(fewer):
            if depth > 2:
                return
            fewer = rows  # as where a level begins: nothing of what the model reaches goes
        if depth == len(KEYS) == len(model.keys) or 2 * windows.count(fewer) < windows.count(rows):
            model, rows = self._model(fewer, held["closeness"][1], ids), fewer
        names = list(model.keys)
        if depth >= len(names):
            self._collect(model, held, at_once=FAR)
            return
        name = names[depth]
        low, last = held.get(name, (0, FAR))
        if low == last:
            self._split(model, rows, held, self._prefix(prefix, name, low, held), depth + 1)
        else:
            self._climb(model, rows, held, prefix, depth)

    def _climb(
        self,
        model: Model,
        rows: dict[str, Mask],
        held: dict[str, tuple[int, int]],
        prefix: tuple[Any, ...],
        depth: int,
    ) -> None:
        """Work through a region by the least values of its next key, one after the other."""
        name = list(model.keys)[depth]

        def closed(value: int) -> bool:
            return self.best.closed((*prefix, *self._lower(name, value, held.get("unknown_cost", (0, 0))[0])))

        width = None
        low, last = held.get(name, (0, FAR))
        while low <= last and not closed(low):
            if name == "cost":
                last = min(last, self._highest(prefix))
                if (self.best.full or width is not None) and self._collect(model, held | {name: (low, last)}):
                    return
                last = min(last, self._highest(prefix))
            found = None
            if width is None and name == "cost" and not held.get("unknown_cost", (0, 1))[1]:
                found = self._known_least(prefix)
            if found is None or not low <= found <= last:
                status, solver = self._solve(model, held | {name: (low, last)}, (name,))
                if status == "none":
                    return
                found = int(solver.value(model.keys[name]))
            if closed(found):
                return
            if width is None:
                width = found // FIRST_WINDOW if name == "cost" else 0
            before = len(self.best.found)
            width = min(width, last - found)
            whole = self._collect(model, held | {name: (found, found + width)})
            while not whole and width:  # too many at once: nearer the least of them
                last = min(last, self._highest(prefix)) if name == "cost" else last
                width = max(last - found, 0) if last - found < width else width // NARROWER
                whole = self._collect(model, held | {name: (found, found + width)})
            if not whole:
                exactly = self._prefix(prefix, name, found, held)
                self._split(model, rows, held | {name: (found, found)}, exactly, depth + 1)
            low = found + width + 1
            if whole and len(self.best.found) - before < self.best.wanted:
                width = width * 4 + (max(found // 50, int(1 / MONEY_UNIT)) if name == "cost" else 0)

    def _prefix(
        self, prefix: tuple[Any, ...], name: str, value: int, held: Mapping[str, tuple[int, int]]
    ) -> tuple[Any, ...]:
        """The keys down to one that has a value; the two of cost are one of the check's."""
        if name == "unknown_cost":
            return prefix
        return *prefix, *self._lower(name, value, held.get("unknown_cost", (0, 0))[0])

    def _highest(self, prefix: tuple[Any, ...]) -> int:
        """The highest cost that can still enter the list: the last one's, where it is as close."""
        if not self.best.full or self.best.keys[-1][:2] != prefix[:2] or self.best.keys[-1][2][0]:
            return FAR
        highest: float = self.best.keys[-1][2][1]
        return math.ceil(highest / MONEY_UNIT) + 1

    def any(self) -> bool | None:
        """Whether anything fits, by a first look: None where that does not decide it."""
        self.any_will_do = True
        if self.empty:
            return False
        few = {each: windows.spread_out(mask) for each, mask in self.alive.items()}
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
        self.best = self.proposals.best = Best(1)
        model = self._model(alive, FAR)
        complete = self._collect(model, {})
        if not complete and not self.best.found:
            self._collect(model, {}, at_once=FAR)
        return bool(self.best.found)

    def _lower(self, name: str, value: int, unknown: int = 0) -> tuple[Any, ...]:
        return lower_key(self.orders, name, value, unknown)

    # solving

    def _model(self, rows: dict[str, Mask], most: int, ids: bool = False) -> Model:
        """A model of these rows: the last one, if it is of the same rows and reaches as far."""
        last = self._made
        if last is not None and last[1] is ids and last[2].most >= most and _same(last[0], rows):
            return last[2]
        model = Encoder(self.terms, rows, most, ids).build()
        model.most = most
        self._made = rows, ids, model
        self.counts["classes"] = max(self.counts["classes"], model.size)
        return model

    def _solve(self, model: Model, bounds: dict[str, tuple[int, int]], minimise: Sequence[str] = ()) -> tuple[str, Any]:
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
        if self.any_will_do:
            self.proposals.take_any(model, collector.found)
        else:
            self.proposals.take(model, collector.found)
        return status == "none" or not collector.full


def _same(some: Mapping[str, Mask], others: Mapping[str, Mask]) -> bool:
    return all(np.array_equal(mask, others[each]) for each, mask in some.items())
