"""The closest combinations, in the plan's order, with proof that none is missing; or any one at all.

CP-SAT proposes, the plain check decides. Of a large catalogue the cheap parts are searched first: their list bounds
what the rest can still bring, so that most of it never becomes a row.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Literal

from kitwright.solver import narrow
from kitwright.solver.candidates import Candidates, candidates
from kitwright.solver.catalogue import Catalogue
from kitwright.solver.check import check
from kitwright.solver.combination import Combination
from kitwright.solver.engine import Clock, OutOfTimeError
from kitwright.solver.explain import conflict
from kitwright.solver.layouts import Layouts
from kitwright.solver.plan import Plan
from kitwright.solver.regions import Progress, Search
from kitwright.solver.result import Answer, Checked, Considered
from kitwright.solver.sieve import Needed, Sieve

DEFAULT_SECONDS = 60.0


def _searches(
    options: Candidates, plan: Plan, top: int, clock: Clock, progress: Progress | None, layouts: Layouts | None
) -> Iterator[Search]:
    """The search, each to be run before the next is asked for: of a large catalogue after first looks at cheap parts.

    A first look decides it where its list is full, no short block can be closer than the last of it, and none that is
    as close and was left out can be cheaper.
    """
    look: Search | None = None
    keep: Needed | None = None
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
        for search in _searches(options, plan, top, clock, progress, layouts):
            search.run()
        complete = True
    except (OutOfTimeError, KeyboardInterrupt):
        pass  # the answer says so
    if search is None:
        return Answer(plan, "incomplete", (), considered, None, "nothing yet", clock.spent)
    found: list[Checked] = []
    proven = "" if complete else search.best.proven
    try:
        search.progress(f"checking {len(search.best.found)} found" + ("" if complete else ", then stopping"))
        for checked in _checked(search, plan):
            found.append(checked)
    except KeyboardInterrupt:  # what is ready is the head of the list
        if complete or len(found) < search.best.settled:
            proven = f"the {len(found)} listed are the closest, in order"
        complete = False
    if complete and not found:
        return _nothing(catalogue, plan, considered, clock, search.counts, why)
    status: Literal["complete", "incomplete"] = "complete" if complete else "incomplete"
    return Answer(plan, status, tuple(found), considered, None, proven, clock.spent, search.counts)


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
    clock = Clock(seconds)
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


def _checked(search: Search, plan: Plan) -> Iterator[Checked]:
    for combination in search.best.found:
        checked = check(combination, plan, spreads=False, alike=search.alike)
        if checked.fits:
            yield checked
