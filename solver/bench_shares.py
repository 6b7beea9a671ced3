"""One combination for each engine, and every way to share out what the shelf holds among them: which is the best.

A part is taken from the shelf as often as it lies there; who does without buys it. That changes what an engine costs
and how many parts it has to buy, and nothing else: limits and aims on these are judged share by share, by the plain
check.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator, Mapping
from dataclasses import replace
from itertools import product
from typing import Any

from kitwright.solver.catalogue import Catalogue
from kitwright.solver.check import Verdict, check, judge
from kitwright.solver.combination import Combination
from kitwright.solver.plan import Bench, Goal, Plan
from kitwright.solver.registry import leaves_of
from kitwright.solver.result import Checked
from kitwright.solver.terms import MONEY_UNIT

Share = tuple[tuple[str, int], ...]
"""How many of each part one engine gets from the shelf, of the parts that are contested."""


def uses(combination: Combination) -> Counter[str]:
    """How many of each part a combination takes, by id."""
    found = Counter(part.id for part in combination.parts.values())
    found.update(part.id for part in combination.gaskets)
    return found


def taken(combination: Combination) -> Counter[str]:
    """How many of each part a combination takes from the shelf, by id."""
    shelf = {part.id: part.on_shelf for part in (*combination.parts.values(), *combination.gaskets)}
    return +Counter({part: min(count, shelf[part]) for part, count in uses(combination).items()})


def summed(allotted: Mapping[str, Checked] | Mapping[str, Verdict]) -> tuple[Any, ...]:
    """The order's key of an allotment: the engines' own keys summed, then their ids, the engines by name."""
    keys: list[tuple[Any, ...]] = [allotted[name].key for name in sorted(allotted)]
    return (
        sum(key[0] for key in keys),
        sum(key[1] for key in keys),
        (sum(key[2][0] for key in keys), round(sum(key[2][1] for key in keys), 6)),
        sum(key[3] for key in keys),
        sum(key[4] for key in keys),
        *(key[5:] for key in keys),
    )


def on_money(goal: Goal) -> bool:
    """Whether a goal is on a figure that the share of the shelf decides: what is spent, how much is to buy."""
    return any(leaf.startswith("money.") for leaf in leaves_of(goal.figure))


def eased(plan: Plan) -> Plan:
    """A plan without what more to buy may bring nearer: aims above 0 and minima of figures that the shelf decides."""
    goals: dict[str, Goal] = {}
    for name, goal in plan.goals.items():
        least = None if goal.aim is None or goal.aim > 0 else goal.aim
        if not on_money(goal) or (least == goal.aim and goal.minimum is None):
            goals[name] = goal
        elif least is not None or goal.maximum is not None:
            goals[name] = replace(goal, aim=least, minimum=None)
    return plan.but(goals=goals)


def indifferent(plan: Plan) -> bool:
    """Whether a plan only limits what the share of the shelf decides: then who buys is all the same to it."""
    return all(each.aim is None and each.minimum is None for each in plan.goals.values() if on_money(each))


class Shares:
    """What the engines' combinations want of the shelf, and what each of them comes to with less of it."""

    def __init__(self, catalogue: Catalogue, bench: Bench, combinations: Mapping[str, Combination]) -> None:
        self.catalogue = catalogue
        self.bench = bench
        self.combinations = combinations
        self.wants = {name: uses(each) for name, each in combinations.items()}
        self.takes = {
            name: Counter({part: min(count, self._held(part)) for part, count in each.items()})
            for name, each in self.wants.items()
        }
        self.short: dict[str, int] = {}
        """Contested parts, and how many more of each are wanted from the shelf than lie there."""
        for part in sorted({part for each in self.takes.values() for part in each}):
            over = sum(each[part] for each in self.takes.values()) - self._held(part)
            if over > 0 and part not in bench.unshared:
                self.short[part] = over
        self.eased_fits = False
        """Whether, as far as it was looked at, a way was found that only aims and minima on money stand against."""
        self._verdicts: dict[tuple[str, Share], Verdict | None] = {}

    def _held(self, part: str) -> int:
        held = self.catalogue.get(part)
        assert held is not None
        return held.on_shelf

    def best(self, plans: Mapping[str, Plan], tick: Callable[[], None] = lambda: None) -> dict[str, Checked] | None:
        """The engines' combinations with the shelf shared out so that the order's key is least; None if none may be.

        Of ways that come to the same, the engines named last buy. ``tick`` is called now and then.
        """
        same = all(map(indifferent, plans.values()))  # with all costs known, who buys changes no sum
        chosen: tuple[tuple[Any, ...], dict[str, Share]] | None = None
        for shares in self._ways():
            tick()
            key = self._key(plans, shares)
            if key is not None and (chosen is None or key < chosen[0]):
                chosen = key, shares
                if same and not key[2][0]:
                    break
        if chosen is None:
            return None
        return {name: check(self._with(name, chosen[1][name]), plans[name], spreads=False) for name in plans}

    def _ways(self) -> Iterator[dict[str, Share]]:
        """Every way to share out what is contested; the engines named last buy first."""
        names = list(reversed(list(self.combinations)))
        ways = []
        for part, over in self.short.items():
            counts = product(*(range(self.takes[name][part], -1, -1) for name in names))
            ways.append([(part, dict(zip(names, each, strict=True))) for each in counts if sum(each) == over])
        for bought in product(*ways):
            yield {
                name: tuple(
                    (part, self.takes[name][part] - less[name]) for part, less in bought if self.wants[name][part]
                )
                for name in self.combinations
            }

    def _key(self, plans: Mapping[str, Plan], shares: Mapping[str, Share]) -> tuple[Any, ...] | None:
        found = {}
        spent = 0.0
        for name, plan in plans.items():
            verdict = self._verdict(name, plan, shares[name])
            if verdict is None:
                return None
            found[name] = verdict
            spent += verdict.key[2][1]
        most = self.bench.budget
        if most is not None and spent > most + MONEY_UNIT / 2:
            return None
        self.eased_fits = True
        return summed(found) if all(each.fits for each in found.values()) else None

    def _verdict(self, name: str, plan: Plan, share: Share) -> Verdict | None:
        """What an engine's combination comes to with its share; None where nothing but a greater share could help."""
        if (name, share) not in self._verdicts:
            self._verdicts[name, share] = self._judged(name, plan, share)
        return self._verdicts[name, share]

    def _judged(self, name: str, plan: Plan, share: Share) -> Verdict | None:
        for part, count in share:
            held = self.catalogue.get(part)
            if held is not None and held.price is None and not count:
                return None  # one thing, and another engine has it
        combination = self._with(name, share)
        verdict = judge(combination, plan)
        if verdict.fits:
            return verdict
        less = eased(plan)
        lower = judge(combination, less) if less != plan else verdict
        return replace(lower, fits=False) if lower.fits else None

    def _with(self, name: str, share: Share) -> Combination:
        """An engine's combination with its share on the shelf, and of all else as much as lies there."""
        counts = {part: self._held(part) for part in self.wants[name]} | dict(share)
        combination = self.combinations[name]

        def counted(part: Any) -> Any:
            return part if part.on_shelf == counts[part.id] else replace(part, on_shelf=counts[part.id])

        parts = {kind: counted(part) for kind, part in combination.parts.items()}
        return replace(combination, parts=parts, gaskets=tuple(map(counted, combination.gaskets)))
