"""Answers as values: what was found, that nothing fits, that time ran out; three things that never blur."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Literal

from kitwright.solver.combination import Combination, Missing
from kitwright.solver.plan import Plan
from kitwright.solver.registry import public_figures

if TYPE_CHECKING:
    import pandas

    from kitwright.solver.stopping import Reason


@dataclass(frozen=True, slots=True)
class Limit:
    """One limit of a goal or a rule, and how a combination stands to it.

    ``value`` is the corner that the plan's tolerance mode compares, in the figure's unit; ``margin`` is positive where
    the limit holds; ``holds`` is None where it cannot be established.
    """

    kind: Literal["goal", "rule"]
    name: str
    figure: str
    limit: Literal["min", "max"]
    bound: float | None
    value: float | None
    holds: bool | None
    sentence: str = ""
    strict: bool = False

    @property
    def margin(self) -> float | None:
        """Distance to the bound, negative where it is missed; None where there is nothing to compare."""
        if self.value is None or self.bound is None:
            return None
        return self.value - self.bound if self.limit == "min" else self.bound - self.value


@dataclass(frozen=True, slots=True)
class NotEstablished:
    """A goal that cannot be computed or proved, and the fields that it wants for."""

    goal: str
    missing: tuple[Missing, ...]


VerdictName = Literal["fits", "on_paper", "does_not_fit"]
"""Nothing fails and nothing is open; nothing fails, but something speaks against trusting it; a limit fails."""


@dataclass(frozen=True, slots=True)
class Because:
    """One reason for a verdict other than ``fits``.

    Attributes:
        code: ``limit_missed``, ``not_established`` or ``doubtful``.
        about: what ``name`` is: a ``goal``, a ``rule`` or the ``sizes`` that are doubtful.
        name: of the goal or rule.
        limit: the limit that is missed.
        missing: the fields that a goal wants for.
    """

    code: Literal["limit_missed", "not_established", "doubtful"]
    about: Literal["goal", "rule", "sizes"]
    name: str
    limit: Limit | None = None
    missing: tuple[Missing, ...] = ()


@dataclass(frozen=True, slots=True)
class Unworked:
    """A physical rule that cannot be worked out for want of a field, and the fields that it wants for."""

    rule: str
    figure: str
    missing: tuple[Missing, ...]


@dataclass(frozen=True, slots=True)
class Purchase:
    """A part to buy: how many, and the price of one (None where the catalogue has none)."""

    id: str
    count: int
    price: float | None


@dataclass(frozen=True, slots=True)
class Checked:
    """A combination with everything that the plain check says of it.

    Attributes:
        combination: parts and machining.
        figures: every public figure that can be computed, by name, in the figure's unit.
        points: closeness by aimed figure, weight included.
        closeness: their sum.
        limits: every limit of goal and rule that concerns it.
        not_established: goals that cannot be computed or proved.
        holds_at_worst_case: whether all that is established holds at the worst corner of all tolerances; None where no
            size under any limit has a tolerance, so that there is no worst corner.
        spread: figure to its worst-case and statistical range, where they were asked for.
        rev_limit_by: what sets the rev limit, in words.
    """

    combination: Combination
    figures: Mapping[str, float]
    points: Mapping[str, int]
    closeness: int
    limits: tuple[Limit, ...]
    not_established: tuple[NotEstablished, ...]
    holds_at_worst_case: bool | None
    key: tuple[Any, ...]
    spread: Mapping[str, Mapping[str, tuple[float, float]]] = field(default_factory=dict)
    rev_limit_by: str = ""
    without_tolerance: tuple[Limit, ...] = ()
    """Limits on sizes of which none has a tolerance: at worst case they say no more than at nominal."""
    unworked: tuple[Unworked, ...] = ()
    """Physical rules that cannot be worked out for want of a field."""
    unrated: tuple[Missing, ...] = ()
    """Ratings that the rev limit wants for: it is at most what it says."""

    @property
    def fits(self) -> bool:
        """Whether no limit fails (one that is only not established does not fail)."""
        return all(limit.holds is not False for limit in self.limits)

    @property
    def verdict(self) -> VerdictName:
        """``fits``, ``on_paper`` (nothing fails, but a goal is not established) or ``does_not_fit``."""
        if not self.fits:
            return "does_not_fit"
        return "on_paper" if self.because else "fits"

    @property
    def because(self) -> tuple[Because, ...]:
        """Reasons for the verdict: the limits that are missed, else the goals that are not established."""
        missed = [limit for limit in self.limits if limit.holds is False]
        if missed:
            return tuple(Because("limit_missed", limit.kind, limit.name, limit) for limit in missed)
        return tuple(Because("not_established", "goal", gap.goal, None, gap.missing) for gap in self.not_established)

    @property
    def buy(self) -> tuple[Purchase, ...]:
        """What has to be bought."""
        return tuple(Purchase(part.id, count, part.price) for part, count in self.combination.to_buy())

    @property
    def labour(self) -> float:
        """Price of the machining."""
        return self.combination.labour()

    @property
    def cost(self) -> float | None:
        """Money still to be spent, None where a price is missing."""
        return self.figures.get("cost")

    def as_row(self) -> dict[str, Any]:
        """One flat row: ids, machining, closeness, figures by key."""
        row: dict[str, Any] = {
            kind: " + ".join(ids) if isinstance(ids, list) else ids for kind, ids in self.combination.ids.items()
        }
        row |= self.combination.machining
        row["closeness"] = self.closeness
        row["verdict"] = self.verdict
        shown = public_figures()
        row |= {shown[name].key: value for name, value in self.figures.items()}
        return row


@dataclass(frozen=True, slots=True)
class PartOut:
    """A part of the catalogue that can be in no combination, and why.

    ``follows`` where it would have a partner but for other parts that are out: they are the cause, not it.
    """

    id: str
    why: str
    follows: bool = False


@dataclass(frozen=True, slots=True)
class Considered:
    """What the search looked at: raw combinations, and the parts that dropped out before it."""

    possible: int
    parts_out: tuple[PartOut, ...] = ()


@dataclass(frozen=True, slots=True)
class WayOut:
    """One change to the plan that opens an answer."""

    requirement: str
    change: str
    to: Any
    price: float | None
    combination: Checked
    loosens_guard: bool = False
    """Whether it loosens what keeps parts apart or in one piece."""


@dataclass(frozen=True, slots=True)
class Closest:
    """The best value of one requirement while all the others hold, and the combination that has it."""

    requirement: str
    figure: str | None
    value: float | None
    combination: Checked


@dataclass(frozen=True, slots=True)
class Conflict:
    """Why nothing fits.

    ``closest`` is taken while all the other requirements of the plan hold (in one of ``other_conflicts``: all the
    others of that conflict); a requirement whose loosening opens nothing, however far it goes, is not in it. Of those,
    ``within`` tells the closest while the other requirements of the conflict alone hold, where it was looked for.
    """

    requirements: tuple[str, ...]
    because: str
    closest: tuple[Closest, ...] = ()
    ways_out: tuple[WayOut, ...] = ()
    within: tuple[Closest, ...] = ()


@dataclass(frozen=True, slots=True)
class Together:
    """Changes to the plan that open an answer together, where no single one does."""

    changes: tuple[WayOut, ...]
    price: float | None
    combination: Checked

    @property
    def loosens_guard(self) -> bool:
        """Whether one of the changes loosens a guard."""
        return any(each.loosens_guard for each in self.changes)


@dataclass(frozen=True, slots=True)
class WouldFit:
    """A part that the catalogue does not hold and with which a combination fits, everything else kept.

    Attributes:
        kind: kind of the part.
        like: id of the part that it would stand in for; everything but ``field`` is as that part's.
        field: the dimension that differs.
        unit: unit of the numbers.
        value: what it must measure: a round figure inside the range, its near end where the other is open.
        low: least that does, rounded inward; minus infinity where nothing within reach is too little.
        high: most that does, rounded inward; infinity where nothing within reach is too much.
        price: money still to be spent on the rest; what the part itself costs comes on top.
        left: what the plan's budget leaves for it, None without a budget.
        combination: the combination with it, as the check finds it.
    """

    kind: str
    like: str
    field: str
    unit: str
    value: float
    low: float
    high: float
    price: float | None
    left: float | None
    combination: Checked


@dataclass(frozen=True, slots=True)
class Closer:
    """A requirement whose loosening brings a closer answer than the best that fits."""

    way: WayOut
    closeness: int
    gained: int


@dataclass(frozen=True, slots=True)
class Explanation:
    """Why nothing fits, in full; or, where something fits, which requirements bind.

    ``answer`` holds the conflict and the ways out, or the best combination. ``complete`` is False where time ran out
    before everything was looked at; what is there is proved.
    """

    answer: Answer
    other_conflicts: tuple[Conflict, ...] = ()
    together: tuple[Together, ...] = ()
    parts_that_would_fit: tuple[WouldFit, ...] = ()
    least_to_spare: tuple[Limit, ...] = ()
    closer: tuple[Closer, ...] = ()
    complete: bool = True


@dataclass(frozen=True)
class Answer:
    """What ``find`` answers.

    ``status`` is ``complete`` (these are the closest, proven), ``nothing_fits`` (proven), or ``incomplete`` (stopped
    before the proof: ``combinations`` is the best so far, ``proven`` says what is known of the rest).
    """

    plan: Plan
    status: Literal["complete", "nothing_fits", "incomplete"]
    combinations: tuple[Checked, ...]
    considered: Considered
    conflict: Conflict | None = None
    proven: str = ""
    seconds: float = 0.0
    counts: Mapping[str, int] = field(default_factory=dict)
    stopped_by: Reason | None = None
    """What ended an incomplete search: its time, an interrupt from the keyboard, or the bound on memory."""

    def __iter__(self) -> Any:
        return iter(self.combinations)

    def __len__(self) -> int:
        return len(self.combinations)

    def frame(self) -> pandas.DataFrame:
        """One row a combination: rank, ids, machining, closeness, figures by key."""
        return frame(self.combinations)


def frame(combinations: Sequence[Checked]) -> pandas.DataFrame:
    """Combinations as a pandas DataFrame, best first."""
    import pandas

    return pandas.DataFrame([{"rank": rank, **each.as_row()} for rank, each in enumerate(combinations, 1)])
