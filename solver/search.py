"""The closest combinations, in the plan's order, with proof that none is missing; or any one at all.

CP-SAT proposes, the plain check decides. Of a large catalogue the cheap parts are searched first: their list bounds
what the rest can still bring, so that most of it never becomes a row.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import Literal

from kitwright.solver import narrow
from kitwright.solver.candidates import Candidates, candidates
from kitwright.solver.catalogue import Catalogue
from kitwright.solver.check import check
from kitwright.solver.combination import Combination
from kitwright.solver.explain import conflict
from kitwright.solver.layouts import Layouts
from kitwright.solver.plan import Plan
from kitwright.solver.regions import Progress, Search
from kitwright.solver.result import Answer, Checked, Considered
from kitwright.solver.sieve import Needed, Sieve
from kitwright.solver.stopping import STOPS, Clock, OutOfTimeError, Reason

DEFAULT_SECONDS = 60.0

LONG_LIST = 500
"""Combinations of a list, from which on its head is searched by itself first."""

MANY_STACKS = 100_000
"""Stacks of gaskets from which on those of fewer layers are searched first."""

WRITING = 4
"""How many times as long as the full check of a combination its lines in an answer take to write, at most."""

WRITTEN_OUT = 0.25
"""Seconds that a search which was stopped may still take to write out what it has found."""


def _searches(
    options: Candidates, plan: Plan, top: int, clock: Clock, progress: Progress | None, layouts: Layouts | None
) -> Iterator[Search]:
    """The search, each to be run before the next is asked for: of a large catalogue after first looks at cheap parts.

    A first look decides it where its list is full, no short block can be closer than the last of it, and none that is
    as close and was left out can be cheaper.
    """
    look: Search | None = None
    keep: Needed | None = None
    for lower in _fewer_layers(options):  # of very many stacks the low ones first: what they give is there by then
        look = Search(lower, plan, top, clock, progress, look=look, partial=True)
        yield look
        look.best.within = f"the closest of those with at most {lower.plan.gaskets} in a stack stand here"
        look.release()
    if narrow.ways(options) > narrow.LARGE:
        few, never = narrow.established(narrow.usable(options))
        most, cost = narrow.FIRST_WAYS, narrow.cheap(few, narrow.FIRST_WAYS)
        while cost is not None and most <= narrow.MOST_WAYS:
            look = Search(narrow.affordable(few, cost), plan, top, clock, progress, look=look, partial=True, keep=keep)
            yield look
            look.release()
            if look.best.full:
                unproved, closeness, (unknown, last) = look.best.keys[-1][:3]
                if unproved > never:
                    break
                near = closeness if unknown else closeness - 1
                sieve = keep.closer if keep is not None and keep.closer.most == near else Sieve(few, near, clock.check)
                keep = Needed(few, sieve, None if unknown else last)
                if unknown or not keep.closer.empty:
                    break
                if last <= cost:
                    return
                cost = last
            else:
                most *= 4
                cost = narrow.cheap(few, most)
    yield Search(options, plan, top, clock, progress, look=look, layouts=layouts, keep=keep)


def _fewer_layers(options: Candidates) -> Iterator[Candidates]:
    """Candidates with stacks of fewer gaskets, ever more, where there are very many stacks in all."""
    if options.stack_count <= MANY_STACKS or len(options.plan.use.get("gasket", ())) > 1:
        return
    lower = [replace(options, plan=options.plan.but(gaskets=layers)) for layers in range(1, options.plan.gaskets)]
    few = [each for each in lower if each.stack_count <= MANY_STACKS] or lower[:1]
    yield from (few[-1:] + lower[len(few) :] if few[-1].stack_count else lower[len(few) :])


def find(
    catalogue: Catalogue,
    plan: Plan,
    top: int = 10,
    seconds: float = DEFAULT_SECONDS,
    progress: Progress | None = None,
    why: bool = False,
    layouts: Layouts | None = None,
) -> Answer:
    """The combinations that fit a plan, closest first, proven complete.

    Args:
        catalogue: the parts, as ``kitwright.catalogs.load`` reads them.
        plan: what is wanted.
        top: how many combinations to list.
        seconds: time limit of the search; when it is reached the answer is ``incomplete``.
        progress: called with a line of text now and then.
        why: whether an answer without combinations says why nothing fits, in the time that is left.
        layouts: rows that earlier questions of the catalogue laid out; what this one lays out is added.

    Returns:
        An :class:`~kitwright.solver.result.Answer`: ``complete``, ``nothing_fits`` or ``incomplete``: where time or
        memory ended it, or somebody at the keyboard.

    Raises:
        ValueError: ``top`` is not positive, or a value is too large for the model's integers.
    """
    if top < 1:
        raise ValueError(f"the number of combinations wanted is {top}; at least 1")
    with Clock(seconds) as clock:
        return _found(catalogue, plan, top, clock, progress, why, layouts)


def _found(
    catalogue: Catalogue,
    plan: Plan,
    top: int,
    clock: Clock,
    progress: Progress | None,
    why: bool,
    layouts: Layouts | None,
) -> Answer:
    try:
        options = candidates(catalogue, plan)
        considered = Considered(options.possible, options.parts_out)
        empty = bool(options.empty_kinds)
    except STOPS as stop:
        nothing_yet = clock.ended_by(stop)
        return Answer(plan, "incomplete", (), Considered(0, ()), None, "nothing yet", clock.spent, {}, nothing_yet)
    if empty:
        return _nothing(catalogue, plan, considered, clock, {}, why)
    search: Search | None = None
    complete = False
    stopped_by: Reason | None = None
    head: Search | None = None
    try:
        if top > LONG_LIST:  # of a list that there may be no end to, its head first
            for search in _searches(options, plan, LONG_LIST, clock, progress, layouts):
                search.run()
            head = search
        for search in _searches(options, plan, top, clock, progress, layouts):
            search.run()
        complete = True
    except STOPS as stop:
        stopped_by = clock.ended_by(stop)  # the answer says so
    if search is None:
        return Answer(plan, "incomplete", (), considered, None, "nothing yet", clock.spent, {}, stopped_by)
    found: list[Checked] = []
    proven = "" if complete else search.best.proven
    if head is not None and not complete:
        first = len(head.best.found)
        proven = f"the first {first} are the closest, in order"
        search = search if len(search.best.found) > first else head
    try:
        search.progress(f"checking {len(search.best.found)} found" + ("" if complete else ", then stopping"))
        for checked in _checked(search, plan, clock):
            found.append(checked)
    except STOPS as stop:  # what is ready is the head of the list
        stopped_by = stopped_by or clock.ended_by(stop)
        sure = search.best.settled if head is None else len(head.best.found)
        if complete or len(found) < sure:
            proven = f"the {len(found)} listed are the closest, in order"
        complete = False
    if complete and not found:
        return _nothing(catalogue, plan, considered, clock, search.counts, why)
    status: Literal["complete", "incomplete"] = "complete" if complete else "incomplete"
    return Answer(plan, status, tuple(found), considered, None, proven, clock.spent, search.counts, stopped_by)


def witness(
    catalogue: Catalogue, plan: Plan, seconds: float = DEFAULT_SECONDS, layouts: Layouts | None = None
) -> Combination | None:
    """Any combination that fits a plan, however close; None where nothing fits: quicker than finding the closest.

    Args:
        catalogue: the parts.
        plan: what is wanted.
        seconds: time limit.
        layouts: rows that earlier questions of the catalogue laid out; what this one lays out is added.

    Raises:
        OutOfTimeError: the time was up before that was decided.
    """
    options = candidates(catalogue, plan)
    if options.empty_kinds:
        return None
    with Clock(seconds) as clock:
        return _any(options, plan, clock, layouts)


def _any(options: Candidates, plan: Plan, clock: Clock, layouts: Layouts | None) -> Combination | None:
    cost = narrow.cheap(options, narrow.FIRST_WAYS) if narrow.ways(options) > narrow.LARGE else None
    if cost is not None:  # of a large catalogue the cheap parts first
        look = Search(narrow.affordable(options, cost), plan, 1, clock, None, tables=False, layouts=layouts)
        if look.any():
            return look.best.found[0]
    for tables in (False, True):  # the tables cost most and seldom decide it
        search = Search(options, plan, 1, clock, None, tables, layouts=layouts)
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


def _checked(search: Search, plan: Plan, clock: Clock) -> Iterator[Checked]:
    """What was found, checked in full, as far as the time goes; a little is left even where there was none."""
    until = clock.spent + max(clock.left / (1 + WRITING), WRITTEN_OUT)
    for combination in search.best.found:
        checked = check(combination, plan, spreads=False, alike=search.alike)
        if checked.fits:
            yield checked
        if clock.spent > until:
            raise OutOfTimeError
