"""The search's slots as tables: every facet holds rows (one of which is chosen) and the leaves that its rows bring.

Parts that are equal in everything that the plan can see become one class, so that sixty rods of twenty lengths count
as twenty; rows are made of classes, and expanded into parts again only when an answer is written out. The facets:

``short``   block (with rebore), crank, rod, piston that fit one another
``base``    deck cut and spacer, for each bore of a block
``stack``   a gasket stack
``top``     head with mill and relieve
``gear``    cam and rocker
and one each for spring, retainer, spring shim, pushrod and flywheel.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from fractions import Fraction
from functools import cache, partial
from itertools import product
from typing import Any

import numpy as np
import numpy.typing as npt

from kitwright.solver.candidates import BOTTOM, Candidates
from kitwright.solver.classes import SINGLE, BoreState, Choice, Classes, Facet, Facets, batches_of, leaf_value, ranks_of
from kitwright.solver.combination import NAN
from kitwright.solver.distinct import unique_rows
from kitwright.solver.narrow import keeping
from kitwright.solver.pairing import Rows, batches, joined
from kitwright.solver.parts import Gasket, Part
from kitwright.solver.quantity import Quantity
from kitwright.solver.rules import FITS, carries_tag
from kitwright.solver.stopping import room_for, tick
from kitwright.solver.terms import Floats, Ints, Mask

Keep = Callable[["Builder", dict[str, Classes], Rows], Mask]
"""Which short blocks, made of some classes of parts, may be needed."""


class Builder:
    """Makes the facets of a search from its candidates and the leaves that the plan can see."""

    def __init__(
        self,
        candidates: Candidates,
        leaves: set[str],
        tick: Callable[[], None] = lambda: None,
        sift: Callable[[Facets], Mask] | None = None,
        keep: Keep | None = None,
        sizes_only: bool = False,
    ) -> None:
        """``tick`` is called now and then; it raises where the time is up.

        ``keep`` says of short blocks, before anything is made of them, which may be needed; ``sift`` is shown a part of
        those with all other facets, and says which of them are. With ``sizes_only`` parts of a short block that differ
        in money alone are one class, which costs the least of any.
        """
        self.keep = keep
        self.sizes_only = sizes_only
        self.candidates = candidates
        self.tick = tick
        self.sift = sift
        self.plan = candidates.plan
        self.leaves = leaves
        self.by_owner: dict[str, list[str]] = {}
        for leaf in sorted(leaves):
            self.by_owner.setdefault(leaf.partition(".")[0], []).append(leaf)
        self.split_ids = {part for deck in self.plan.measured_decks for part in deck.parts.values()}
        self.tag_sets: list[npt.NDArray[np.bool_]] = []
        self.blocks = self._classes("block")
        self.states = [
            self._state(index, block, rebore)
            for index, block in enumerate(self.blocks.first)
            for rebore in candidates.bores(block)
        ]

    def _state(self, index: int, block: Part | None, rebore: Quantity | None) -> BoreState:
        if rebore is not None:
            labour: float = block.rebore.labour  # type: ignore[union-attr]
            return BoreState(index, rebore, rebore.si, rebore.tolerance, labour)
        value, tolerance = leaf_value(block, "block.bore")
        return BoreState(index, None, value, tolerance, 0.0)

    def build(self) -> Facets:
        """All facets."""
        others = self.others()
        self.tick()
        return Facets({"short": self._short(others), **others}, self.states, self.tag_sets)

    def others(self) -> dict[str, Facet]:
        """All facets but the short block."""
        facets: dict[str, Facet] = {}
        if self._has_base():
            facets["base"] = self._base()
        facets["stack"] = self._stack()
        for name, make in (("top", self._top), ("gear", self._gear)):
            made = make()
            if made is not None:
                facets[name] = made
        for kind in SINGLE:
            if kind in self.candidates.slots:
                facets[kind] = self._single(kind)
        return facets

    def tables(self) -> dict[str, Classes]:
        """The classes of the short block's parts."""
        return {kind: self.blocks if kind == "block" else self._classes(kind) for kind in BOTTOM}

    # classes

    def _classes(self, kind: str) -> Classes:
        options = self.candidates.slots.get(kind, (None,))
        groups: dict[Any, list[Part | None]] = {}
        for part in options:
            groups.setdefault(self._signature(kind, part), []).append(part)
        return Classes(kind, [tuple(group) for group in groups.values()])

    def _signature(self, kind: str, part: Part | None) -> Any:
        if part is None:
            return None
        seen: list[Any] = []
        for leaf in self.by_owner.get(kind, ()):
            value, tolerance = leaf_value(part, leaf)
            seen += (value if value == value else "unknown", tolerance)
        seen += [getattr(part, each).exact for each in _compared(kind)]
        seen.append(part.fits)
        if not self.sizes_only or kind not in BOTTOM[1:]:
            seen += [part.on_shelf > 0 or part.price, part.on_shelf > 0]
        if kind == "block":
            seen += [part.tags, part.deck_cut and _grid(part.deck_cut), part.rebore and _bores(part.rebore)]  # type: ignore[attr-defined]
        if kind == "head":
            seen += [steps and _grid(steps) for steps in (part.mill, part.relieve)]  # type: ignore[attr-defined]
        if part.id in self.split_ids:
            seen.append(part.id)
        return tuple(seen)

    def _tags_of(self, parts: Sequence[Part | None]) -> Ints:
        """Tag class of each part: -1 where it goes on every block that is there."""
        found = []
        for part in parts:
            if part is None or not part.fits or self.blocks.first == [None]:
                found.append(-1)
                continue
            allowed = np.array([carries_tag(part, self.blocks.first[state.block]) for state in self.states])
            if allowed.all():
                found.append(-1)
                continue
            same = [i for i, each in enumerate(self.tag_sets) if np.array_equal(each, allowed)]
            if not same:
                self.tag_sets.append(allowed)
            found.append(same[0] if same else len(self.tag_sets) - 1)
        return np.array(found, dtype=np.int64)

    def _leaves(
        self, owners: Sequence[str], tables: dict[str, tuple[Classes, Ints]]
    ) -> tuple[dict[str, Any], dict[str, Any]]:
        leaves, tolerances = {}, {}
        for owner in owners:
            classes, index = tables[owner]
            for leaf in self.by_owner.get(owner, ()):
                values, widths = classes.leaf(leaf)
                leaves[leaf] = values[index]
                if widths.any():
                    tolerances[leaf] = widths[index]
        return leaves, tolerances

    # facets

    def _short(self, others: dict[str, Facet]) -> Facet:
        tables = self.tables()
        if self.sift is None:
            rows = joined(list(self.join(tables)))
            if not len(rows[0]):  # nothing fits: the terms say so, of whatever goes together
                rows = joined(list(self.join(tables, alone=False)))
            return self.short_of(tables, *rows)
        kept: list[Rows] = []
        for rows in batches(self._kept(tables)):
            self.tick()
            some = Facets({"short": self.short_of(tables, *rows), **others}, self.states, self.tag_sets)
            needed = self.sift(some)
            if not kept and not needed.any():
                needed[:1] = True  # tables want a row; that nothing fits, the terms say of it
            kept.append(tuple(column[needed] for column in rows))  # type: ignore[arg-type]
        return self.short_of(tables, *joined(kept))

    def _kept(self, tables: dict[str, Classes]) -> Iterator[Rows]:
        for rows in self.join(tables):
            if self.keep is None:
                yield rows
            else:
                keep = self.keep(self, tables, rows)
                yield tuple(column[keep] for column in rows)  # type: ignore[misc]

    def short_of(self, tables: dict[str, Classes], state: Ints, crank: Ints, rod: Ints, piston: Ints) -> Facet:
        """Short blocks of given bore states, cranks, rods and pistons, one a row."""
        room_for(8 * len(state) * (14 + 2 * len(self.leaves)))
        block = np.array([each.block for each in self.states], dtype=np.int64)[state]
        index = {"block": block, "crank": crank, "rod": rod, "piston": piston}
        leaves, tolerances = self._leaves(BOTTOM, {kind: (tables[kind], index[kind]) for kind in BOTTOM})
        bores = np.array([each.value for each in self.states])
        widths = np.array([each.tolerance for each in self.states])
        leaves["block.bore"] = bores[state]
        tolerances.pop("block.bore", None)
        if widths.any():
            tolerances["block.bore"] = widths[state]
        leaves["measured.deck"], tolerances["measured.deck"], measured = self._measured(tables, index)
        money = {kind: tables[kind].money() for kind in BOTTOM}
        labour = np.array([each.labour for each in self.states])
        rebored = np.array([each.rebore is not None for each in self.states])

        def expand(row: int) -> Iterator[Choice]:
            groups = [tables[kind].members[int(index[kind][row])] for kind in BOTTOM]
            rebore = self.states[int(state[row])].rebore
            for chosen in product(*groups):
                parts = {kind: part for kind, part in zip(BOTTOM, chosen, strict=True) if part is not None}
                yield parts, (), {"rebore": rebore}

        return Facet(
            "short",
            len(state),
            leaves,
            tolerances,
            expand,
            np.sum([money[kind][0][index[kind]] for kind in BOTTOM], axis=0) + labour[state],
            np.max([money[kind][1][index[kind]] for kind in BOTTOM], axis=0),
            np.sum([money[kind][2][index[kind]] for kind in BOTTOM], axis=0),
            rebored[state].astype(float),
            np.zeros(len(state)),
            state,
            ranked=lambda: ranks_of(tables, index, BOTTOM),
            made_of=index | {"block": state, "measured": measured},
        )

    def join(self, tables: dict[str, Classes], alone: bool = True) -> Iterator[Rows]:
        """Bore state, crank, rod and piston that fit one another by size and tag, some rows at a time.

        With ``alone``, parts that break a limit which they alone decide are left out before they are paired.
        """
        fits = {rule.id: rule for rule in FITS}

        def matrix(rule: str, first: Sequence[float], second: Sequence[float]) -> npt.NDArray[np.bool_]:
            return np.array([[a != a or b != b or fits[rule].holds(a, b) for b in second] for a in first], dtype=bool)

        def size(kind: str, name: str) -> list[float]:
            return [getattr(part, name).si if part is not None else NAN for part in tables[kind].first]

        def tagged(kind: str) -> npt.NDArray[np.bool_]:
            blocks = [self.blocks.first[each.block] for each in self.states]
            return np.array(
                [[part is None or carries_tag(part, block) for part in tables[kind].first] for block in blocks]
            )

        pins = matrix("pin_to_pin", size("rod", "pin"), size("piston", "pin"))
        journals = matrix("journal_to_big_end", size("crank", "journal"), size("rod", "big_end"))
        crank_tags, rod_tags, piston_tags = (
            tagged(kind) & (keeping(tables[kind], self.plan) if alone else True) for kind in ("crank", "rod", "piston")
        )
        on_block = matrix("piston_to_bore", [each.value for each in self.states], size("piston", "bore")) & piston_tags
        state, piston = np.nonzero(on_block)
        for rod in range(len(pins)):
            self.tick()
            with_pin = pins[rod, piston] & rod_tags[state, rod]
            tops, cranks = np.nonzero(with_pin)[0], np.nonzero(journals[:, rod])[0]
            left, right = np.repeat(tops, len(cranks)), np.tile(cranks, len(tops))
            keep = crank_tags[state[left], right]
            left, right = left[keep], right[keep]
            yield state[left], right, np.full(len(left), rod, dtype=np.int64), piston[left]

    def _measured(self, tables: dict[str, Classes], index: dict[str, Ints]) -> tuple[Floats, Floats, Ints]:
        """Measured deck of each row, its tolerance, and its number in the plan (0: none is measured)."""
        size = len(index["block"])
        values, widths = np.full(size, NAN), np.zeros(size)
        which = np.zeros(size, dtype=np.int64)
        for number, deck in enumerate(self.plan.measured_decks, start=1):
            same = np.ones(size, dtype=bool)
            for kind, part_id in deck.parts.items():
                of_id = [part is not None and part.id == part_id for part in tables[kind].first]
                same &= np.array(of_id)[index[kind]]
            values[same], widths[same], which[same] = deck.deck.si, deck.deck.tolerance, number
        return values, widths, which

    def _has_base(self) -> bool:
        cut = any(len(self.candidates.cuts(block, "deck_cut")) > 1 for block in self.blocks.first)
        return cut or "spacer" in self.candidates.slots

    def _base(self) -> Facet:
        spacers = self._classes("spacer")
        deck_cuts = [self.candidates.cuts(self.blocks.first[each.block], "deck_cut") for each in self.states]
        room_for(400 * sum(map(len, deck_cuts)) * len(spacers.members))
        own = range(len(spacers.members))
        rows = [(state, *each) for state, amounts in enumerate(deck_cuts) for each in product(amounts, own)]
        state = np.array([row[0] for row in rows], dtype=np.int64)
        cuts = [row[1] for row in rows]
        index = np.array([row[2] for row in rows], dtype=np.int64)
        leaves, tolerances = self._leaves(("spacer",), {"spacer": (spacers, index)})
        leaves["machining.deck_cut"] = np.array([float(cut) for cut in cuts])
        leaves["block.bore"] = np.array([each.value for each in self.states])[state]
        paid, unknown, bought = spacers.money()
        labour = [
            getattr(getattr(self.blocks.first[each.block], "deck_cut", None), "labour", 0.0) for each in self.states
        ]
        used = np.array([cut > 0 for cut in cuts])

        def expand(row: int) -> Iterator[Choice]:
            for part in spacers.members[int(index[row])]:
                yield ({"spacer": part} if part is not None else {}), (), {"deck_cut": cuts[row]}

        return Facet(
            "base",
            len(rows),
            leaves,
            tolerances,
            expand,
            paid[index] + np.where(used, np.array(labour)[state], 0.0),
            unknown[index],
            bought[index],
            used.astype(float),
            np.zeros(len(rows)),
            state,
            self._tags_of(spacers.first)[index],
            lambda: ranks_of({"spacer": spacers}, {"spacer": index}, ("spacer",)),
        )

    def _stack(self) -> Facet:
        stacks = self.candidates.stacks
        deepest = max(map(len, stacks), default=1) or 1
        parts = list({part.id: part for stack in stacks for part in stack}.values())
        number = {part.id: i for i, part in enumerate(parts)}
        layer = np.full((len(stacks), deepest), len(parts), dtype=np.int64)
        for row, stack in enumerate(stacks):
            if row % 4_000 == 0:
                self.tick()
            layer[row, : len(stack)] = [number[part.id] for part in stack]
        empty = np.array([not stack for stack in stacks], dtype=bool)
        leaves: dict[str, Any] = {"gaskets.count": np.where(empty, NAN, (layer < len(parts)).sum(axis=1))}
        tolerances: dict[str, Any] = {}
        for name in ("thickness", "bore"):
            pairs = [(getattr(part, name).si, getattr(part, name).tolerance) for part in parts] + [(0.0, 0.0)]
            values, widths = np.array(pairs).T
            columns = [np.where(empty, NAN, values[layer[:, i]]) for i in range(deepest)]
            leaves[f"gaskets.{name}"] = tuple(columns)
            if widths.any():
                tolerances[f"gaskets.{name}"] = tuple(widths[layer[:, i]] for i in range(deepest))
        tolerances |= batches_of(stacks, deepest)
        smallest = (
            np.array([part.bore.si for part in parts] + [np.inf])[layer].min(axis=1)
            if parts
            else np.full(len(stacks), np.inf)
        )
        leaves["smallest_bore"] = smallest
        layers = (layer < len(parts)).sum(axis=1).astype(float)
        paid, unknown, bought = self._stack_money(parts, layer)
        tags = self._stack_tags(parts, layer)

        def expand(row: int) -> Iterator[Choice]:
            yield {}, stacks[row], {}

        none = np.zeros(len(stacks))
        state = np.full(len(stacks), -1, dtype=np.int64)

        def ranked() -> dict[str, tuple[Ints, list[Any]]]:
            names = [tuple(part.id for part in stack) for stack in stacks]
            rank = np.empty(len(stacks), dtype=np.int64)
            rank[sorted(range(len(stacks)), key=names.__getitem__)] = np.arange(len(stacks))
            return {"gasket": (rank, sorted(names))}

        return Facet(
            "stack", len(stacks), leaves, tolerances, expand, paid, unknown, bought, none, layers, state, tags, ranked
        )

    @staticmethod
    def _stack_money(parts: list[Gasket], layer: Ints) -> tuple[Floats, Floats, Floats]:
        paid, unknown, bought = np.zeros(len(layer)), np.zeros(len(layer)), np.zeros(len(layer))
        for i, part in enumerate(parts):
            tick()
            wanted = np.maximum((layer == i).sum(axis=1) - part.on_shelf, 0)
            bought += wanted
            if part.price is None:
                unknown = np.maximum(unknown, wanted > 0)
            else:
                paid += wanted * part.price
        return paid, unknown, bought

    def _stack_tags(self, parts: list[Gasket], layer: Ints) -> Ints:
        """Tag class of each stack: the blocks on which all of its gaskets go."""
        if not any(part.fits for part in parts) or self.blocks.first == [None]:
            return np.full(len(layer), -1, dtype=np.int64)
        blocks = [self.blocks.first[each.block] for each in self.states]
        goes = np.array([[carries_tag(part, block) for block in blocks] for part in parts] + [[True] * len(blocks)])
        allowed: Any = goes[layer].all(axis=1)
        first, inverse = unique_rows(list(allowed.T))
        number = np.full(len(first), -1, dtype=np.int64)
        for place, each in enumerate(allowed[first]):
            if not each.all():
                self.tag_sets.append(each)
                number[place] = len(self.tag_sets) - 1
        return number[inverse]

    def _top(self) -> Facet | None:
        if "head" not in self.candidates.slots:
            return None
        heads = self._classes("head")
        cuts = [[self.candidates.cuts(head, each) for each in ("mill", "relieve")] for head in heads.first]
        room_for(400 * sum(len(mills) * len(relieves) for mills, relieves in cuts))
        rows = [
            (index, mill, relieve) for index, (some, more) in enumerate(cuts) for mill, relieve in product(some, more)
        ]
        index = np.array([row[0] for row in rows], dtype=np.int64)
        mills: list[Fraction] = [row[1] for row in rows]
        relieves: list[Fraction] = [row[2] for row in rows]
        leaves, tolerances = self._leaves(("head",), {"head": (heads, index)})
        leaves["machining.mill"] = np.array([float(each) for each in mills])
        leaves["machining.relieve"] = np.array([float(each) for each in relieves])
        paid, unknown, bought = heads.money()
        operations = np.zeros(len(rows))
        spent = paid[index]
        for name, amounts in (("mill", mills), ("relieve", relieves)):
            used = np.array([each > 0 for each in amounts])
            labour = np.array([getattr(getattr(head, name, None), "labour", 0.0) for head in heads.first])
            spent = spent + np.where(used, labour[index], 0.0)
            operations += used

        def expand(row: int) -> Iterator[Choice]:
            for part in heads.members[int(index[row])]:
                yield ({"head": part} if part is not None else {}), (), {"mill": mills[row], "relieve": relieves[row]}

        none = np.zeros(len(rows))
        state = np.full(len(rows), -1, dtype=np.int64)
        return Facet(
            "top",
            len(rows),
            leaves,
            tolerances,
            expand,
            spent,
            unknown[index],
            bought[index],
            operations,
            none,
            state,
            self._tags_of(heads.first)[index],
            lambda: ranks_of({"head": heads}, {"head": index}, ("head",)),
        )

    def _gear(self) -> Facet | None:
        kinds = [kind for kind in ("cam", "rocker") if kind in self.candidates.slots]
        return self._product("gear", ("cam", "rocker")) if kinds else None

    def _single(self, kind: str) -> Facet:
        return self._product(kind, (kind,))

    def _product(self, name: str, kinds: tuple[str, ...]) -> Facet:
        """A facet of all pairings of kinds that do not have to fit one another."""
        tables = {kind: self._classes(kind) for kind in kinds}
        sizes = [len(tables[kind].members) for kind in kinds]
        room_for(200 * float(np.prod(sizes, dtype=float)))
        grid = np.indices(sizes).reshape(len(sizes), -1).astype(np.int64)
        index = dict(zip(kinds, grid, strict=True))
        leaves, tolerances = self._leaves(kinds, {kind: (tables[kind], index[kind]) for kind in kinds})
        money = [[column[index[kind]] for column in tables[kind].money()] for kind in kinds]
        size = grid.shape[1]
        tags = self._tags_of(tables[kinds[0]].first)[index[kinds[0]]]
        for kind in kinds[1:]:
            tags = self._both(tags, self._tags_of(tables[kind].first)[index[kind]])

        def expand(row: int) -> Iterator[Choice]:
            for chosen in product(*(tables[kind].members[int(index[kind][row])] for kind in kinds)):
                yield {kind: part for kind, part in zip(kinds, chosen, strict=True) if part is not None}, (), {}

        none = np.zeros(size)
        state = np.full(size, -1, dtype=np.int64)
        paid, unknown, bought = (np.sum([each[i] for each in money], axis=0) for i in range(3))
        unknown = np.minimum(unknown, 1.0)
        ranked = partial(ranks_of, tables, index, kinds)

        return Facet(
            name, size, leaves, tolerances, expand, paid, unknown, bought, none, none.copy(), state, tags, ranked
        )

    def _both(self, first: Ints, second: Ints) -> Ints:
        """Tag class of what must keep two tag classes at once."""
        merged = np.where(second < 0, first, second)
        for a, b in {(int(a), int(b)) for a, b in zip(first, second, strict=True) if a >= 0 and b >= 0 and a != b}:
            self.tag_sets.append(self.tag_sets[a] & self.tag_sets[b])
            merged[(first == a) & (second == b)] = len(self.tag_sets) - 1
        return merged


def _grid(steps: Any) -> tuple[Any, ...]:
    return steps.max.exact, steps.step.exact, steps.labour


def _bores(rebore: Any) -> tuple[Any, ...]:
    return tuple((bore.exact, bore.tolerance) for bore in rebore.to), rebore.labour


@cache
def _compared(kind: str) -> tuple[str, ...]:
    """Fields of a kind that a fit compares."""
    return tuple(size.field for rule in FITS for size in (rule.first, rule.second) if size.kind == kind)
