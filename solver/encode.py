"""From terms to a CP-SAT model: rows merged into classes, one Boolean a class, the order's keys as integers."""

from __future__ import annotations

import math
from collections.abc import Mapping
from itertools import product
from typing import Any

import numpy as np
from ortools.sat.python import cp_model

from kitwright.solver.distinct import unique_rows
from kitwright.solver.engine import FAR, KEYS, Model
from kitwright.solver.parts import KINDS
from kitwright.solver.prune import budgets
from kitwright.solver.stopping import room_for, tick
from kitwright.solver.terms import (
    AimLevels,
    AimSum,
    Ints,
    Linear,
    Mask,
    Square,
    SumTable,
    Table,
    Terms,
    cells,
    cents,
)

_BYTES_A_CLASS = 2_000
"""What a class takes in a model, its Booleans, names and coefficients together, at least."""

LARGEST_ROOT = 1 << 30
"""A sum of which the square stays well inside 64 bits."""


class Encoder:
    """Builds a :class:`Model` for given rows and a greatest closeness."""

    def __init__(self, terms: Terms, alive: dict[str, Mask], most: int, ids: bool = False) -> None:
        self.terms = terms
        self.most = most
        self.ids = ids
        self.rows = {each: np.nonzero(mask)[0] for each, mask in alive.items()}
        self.alive = alive
        self.budgets = budgets(terms, most, alive)
        self.linear = [linear for linear in terms.linear if not self._always(linear)]
        self.classes = {
            each: [np.array([row]) for row in rows] if ids else self._merge(each) for each, rows in self.rows.items()
        }
        self.first = {
            each: np.array([rows[0] for rows in groups], dtype=np.int64) for each, groups in self.classes.items()
        }
        self.model = cp_model.CpModel()
        self.chosen: dict[str, list[Any]] = {}
        self._literals: dict[tuple[str, bytes], Any] = {}
        self._carriers: list[tuple[dict[str, Ints], Any]] = []

    def _always(self, linear: Linear) -> bool:
        return linear.least(self.alive) >= 0

    def _merge(self, facet: str) -> list[Ints]:
        """Rows that are equal in all that the model sees, together."""
        terms, rows = self.terms, self.rows[facet]
        table = terms.facets.facets[facet]
        columns: list[Any] = [cents(table.paid), table.unknown, table.layers, table.operations, terms.points[facet]]
        for linear in self.linear:
            columns += [linear.terms.get(facet), linear.skip.get(facet)]
            columns += [table.index.get(facet) for table in linear.tables]
        for square in terms.square:
            columns += [square.terms.get(facet), square.variances.get(facet), square.skip.get(facet)]
        for each in terms.tables:
            columns.append(each.index.get(facet))
        for aim in terms.sums:
            columns += [aim.terms.get(facet), aim.skip.get(facet)]
        for levels in terms.levels:
            columns += levels.columns.get(facet, [])
            columns.append(levels.skip.get(facet))
        columns += [joint.index.get(facet) for joint in terms.joints]
        columns += [lack.flags.get(facet) for lack in terms.lacks]
        columns += [lack.proof.terms.get(facet) for lack in terms.lacks if lack.proof is not None]
        columns += terms.projections.get(facet, [])
        if facet in ("short", "base") and "base" in self.rows:
            columns.append(table.state)
        if facet == "short":
            columns += [allowed[table.state] for allowed in terms.facets.tag_sets]
        elif len(table.tags):
            columns.append(table.tags)
        _, inverse = unique_rows([np.asarray(each, dtype=float)[rows] for each in columns if each is not None])
        order = np.argsort(inverse, kind="stable")
        breaks = np.nonzero(np.diff(inverse[order]))[0] + 1
        return np.split(rows[order], breaks)

    # expressions

    def _sum(self, values: Mapping[str, Any]) -> Any:
        """Σ over facets of the chosen class's value; a constant where nothing varies."""
        tick()
        constant, variables, weights = 0, [], []
        for each, column in values.items():
            if each not in self.first:
                continue
            picked = np.asarray(column)[self.first[each]].astype(np.int64)
            base = int(picked.min())
            constant += base
            for variable, weight in zip(self.chosen[each], (picked - base).tolist(), strict=True):
                if weight:
                    variables.append(variable)
                    weights.append(weight)
        if not variables:
            return constant
        return cp_model.LinearExpr.weighted_sum(variables, weights) + constant

    def _range(self, values: Mapping[str, Any]) -> tuple[int, int]:
        low = high = 0
        for each, column in values.items():
            if each in self.first:
                picked = np.asarray(column)[self.first[each]]
                low, high = low + int(picked.min()), high + int(picked.max())
        return low, high

    def _term(self, values: Mapping[str, Any]) -> Any:
        """Σ over facets of the chosen class's value, as one shared variable and a constant where it varies."""
        picked = {each: np.asarray(column)[self.first[each]] for each, column in values.items() if each in self.first}
        return self._total({each: column.astype(np.int64) for each, column in picked.items()})

    def _total(self, columns: Mapping[str, Ints]) -> Any:
        """A sum over classes: columns that differ by constants or sign alone share one variable.

        Sums that run with another sum (clearance volume with quench) are written as that sum times a whole number plus
        a remainder of small range: exact, and bounds on the one then tighten the other.
        """
        tick()
        constant, sign = 0, 0
        shapes: dict[str, Ints] = {}
        for each, picked in columns.items():
            constant += int(picked[0])
            moved = picked - picked[0]
            if moved.any():
                sign = sign or int(np.sign(moved[np.nonzero(moved)[0][0]]))
                shapes[each] = moved * sign
        if not shapes:
            return constant
        if len(shapes) == 1:
            return sign * self._of_classes(*next(iter(shapes.items()))) + constant
        key = ("total", b"".join(each.encode() + picked.tobytes() for each, picked in sorted(shapes.items())))
        if key not in self._literals:
            factor, carrier, rest = self._carried(shapes)
            parts = [self._of_classes(each, picked) for each, picked in rest.items()]
            low = sum(int(picked.min()) for picked in shapes.values())
            high = sum(int(picked.max()) for picked in shapes.values())
            total = self.model.new_int_var(low, high, "")
            self.model.add(total == sum(parts) + (factor * carrier if factor else 0))
            self._literals[key] = total
            self._carriers.append((shapes, total))
        return sign * self._literals[key] + constant

    def _carried(self, shapes: dict[str, Ints]) -> tuple[int, Any, dict[str, Ints]]:
        """The sum that takes most of the range out of these columns, the whole number of it, and what remains."""
        best: tuple[int, Any, dict[str, Ints]] = (0, None, shapes)
        least = 0.5 * sum(float(np.ptp(picked)) for picked in shapes.values())
        for others, total in self._carriers:
            common = [each for each in others if each in shapes]
            spread = sum(float(np.var(others[each])) for each in common)
            if len(common) < 2 or not spread:
                continue
            together = sum(float(np.cov(shapes[each], others[each], bias=True)[0, 1]) for each in common)
            factor = round(together / spread)
            if not factor or abs(factor) > 1 << 20:
                continue
            rest = {
                each: picked - factor * others[each] if each in others else picked for each, picked in shapes.items()
            }
            rest |= {each: -factor * picked for each, picked in others.items() if each not in shapes}
            reach = sum(float(np.ptp(picked)) for picked in rest.values())
            if reach < least:
                best, least = (factor, total, rest), reach
        return best

    def _cell(self, table: SumTable, rows: Mapping[str, Ints] | None) -> Any:
        """The cell of a table that the chosen classes pick, as a variable (its index is per row, or per class)."""
        picked = {each: index[rows[each]] if rows is not None else index for each, index in table.index.items()}
        key = ("cell", table.values.tobytes() + b"".join(each.encode() + one.tobytes() for each, one in picked.items()))
        if key not in self._literals:
            if len(picked) == 2:
                self._literals[key] = self._two_way(table.values, *picked.items())
                return self._literals[key]
            used = [np.unique(one).tolist() for one in picked.values()]
            variables = [self._of_classes(each, one) for each, one in picked.items()]
            variables = [self.model.new_constant(each) if isinstance(each, int) else each for each in variables]
            cells = [(*place, int(table.values[place])) for place in product(*used)]
            values = sorted({cell[-1] for cell in cells})
            cell = self.model.new_int_var_from_domain(cp_model.Domain.from_values(values), "")
            self.model.add_allowed_assignments([*variables, cell], cells)
            self._literals[key] = cell
        return self._literals[key]

    def _two_way(self, values: Ints, first: tuple[str, Ints], second: tuple[str, Ints]) -> Any:
        """A table of two facets: for each index of the one with fewer, the cell is a column of the other."""
        if len(np.unique(first[1])) < len(np.unique(second[1])):
            first, second, values = second, first, values.T
        facet, index = first
        kept, group = np.unique(second[1], return_inverse=True)
        low, high = (int(end(values[np.ix_(np.unique(index), kept)])) for end in (np.min, np.max))
        cell = self.model.new_int_var(low, high, "")
        literals = self._groups(second[0], group) if len(kept) > 1 else [None]
        for number, literal in zip(kept.tolist(), literals, strict=True):
            constraint = self.model.add(cell == self._of_classes(facet, values[index, number]))
            if literal is not None:
                constraint.only_enforce_if(literal)
        return cell

    def _column(self, facet: str, column: Any) -> Any:
        return self._of_classes(facet, column[self.first[facet]].astype(np.int64)) if facet in self.first else 0

    def _of_classes(self, facet: str, picked: Ints) -> Any:
        """One value a class as a variable (or a constant), fixed by a literal for each value."""
        tick()
        values, group = np.unique(picked, return_inverse=True)
        if len(values) == 1:
            return int(values[0])
        key = (facet, picked.tobytes())
        if key not in self._literals:
            variable = self.model.new_int_var_from_domain(cp_model.Domain.from_values(values.tolist()), "")
            for literal, value in zip(self._groups(facet, group), values.tolist(), strict=True):
                self.model.add(variable == value).only_enforce_if(literal)
            self._literals[key] = variable
        return self._literals[key]

    def _groups(self, facet: str, group: Any) -> list[Any]:
        """A literal for each group of classes."""
        found = []
        ends = np.cumsum(np.bincount(group))[:-1]
        for members in np.split(np.argsort(group, kind="stable"), ends):
            found.append(self.chosen[facet][members[0]] if len(members) == 1 else self._flag(facet, members))
        return found

    def _skips(self, skip: Mapping[str, Mask]) -> tuple[list[Any], bool]:
        """Literals that are all true where nothing is skipped, and whether something always is."""
        found = []
        for each, mask in skip.items():
            if each not in self.first:
                continue
            picked = mask[self.first[each]]
            if picked.all():
                return [], True
            if picked.any():
                literal = self._flag(each, np.flatnonzero(picked))
                found.append(literal.negated())
        return found, False

    def _flag(self, facet: str, members: Ints) -> Any:
        """A literal that is true where one of some classes is chosen."""
        key = (facet, b"flag" + members.tobytes())
        if key not in self._literals:
            literal = self.model.new_bool_var("")
            chosen = self.chosen[facet]
            self.model.add_exactly_one([*(chosen[i] for i in members.tolist()), literal.negated()])
            self._literals[key] = literal
        return self._literals[key]

    # the model

    def build(self) -> Model:
        """The model."""
        for each, groups in self.classes.items():
            room_for(_BYTES_A_CLASS * len(groups))
            self.chosen[each] = [self.model.new_bool_var(f"{each}{i}") for i in range(len(groups))]
            self.model.add_exactly_one(self.chosen[each])
        self._links()
        closeness: Any = self._sum(self.terms.points)
        for table in self.terms.tables:
            closeness = closeness + self._add_table(table)
        # sums that others run with come first: quench, then clearance volume
        for aim in self.terms.sums:
            closeness = closeness + self._aim_sum(aim)
        counted = {levels.name: self._aim_levels(levels) for levels in self.terms.levels}
        closeness = closeness + sum(counted.values())
        for joint in self.terms.joints:
            self.model.add(sum(counted[name] for name in joint.names) >= self._cell(joint.least(), self.first))
            for linear in joint.limits(self.most):
                if not self._always(linear):
                    self._add(linear)
        for linear in self.linear:
            self._add(linear)
        for square in self.terms.square:
            self._add_square(square)
        keys = self._key_expressions() | {"closeness": closeness}
        expressions = {name: keys[name] for name in KEYS}  # regions are split in this order
        if self.ids:
            expressions |= self._id_ranks()
        found = Model(self.classes, self.model, self.chosen)
        facets = self.terms.facets.facets
        reach = {"unknown_cost": 1, "cost": self._range({each: cents(facets[each].paid) for each in self.rows})[1]}
        for name in expressions:
            low, high = (0, self.most) if name == "closeness" else (0, FAR)
            if isinstance(expressions[name], int):
                found.fixed[name] = expressions[name]
            if name in reach:
                found.reach[name] = reach[name]
            found.keys[name] = self.model.new_int_var(low, high, name)
            self.model.add(found.keys[name] == expressions[name])
        for each in self.chosen:  # choose rows, the cheapest first: what is not chosen follows
            paid = self.terms.facets.facets[each].paid[self.first[each]]
            order = [self.chosen[each][i] for i in np.argsort(paid, kind="stable")]
            self.model.add_decision_strategy(order, cp_model.CHOOSE_FIRST, cp_model.SELECT_MAX_VALUE)
        found.size = sum(map(len, self.chosen.values()))
        found.guided = not any(kind == "cell" for kind, _ in self._literals)
        return found

    def _key_expressions(self) -> dict[str, Any]:
        facets = {each: self.terms.facets.facets[each] for each in self.rows}
        unproved: Any = 0
        for lack in self.terms.lacks:
            literals, always = self._skips(lack.flags)
            if lack.always or always:
                unproved = unproved + 1
                continue
            literals += [below.negated() for below in self._below(lack.proof)]
            if len(literals) == 1:
                unproved = unproved + (1 - literals[0])
            elif literals:
                either = self.model.new_bool_var("")
                self.model.add_max_equality(either, [literal.negated() for literal in literals])
                unproved = unproved + either
        unknown_flags, always = self._skips({each: facet.unknown > 0 for each, facet in facets.items()})
        paid = {each: cents(facet.paid) for each, facet in facets.items()}
        cost: Any = self._sum(paid)
        unknown: Any = 1 if always else 0
        if always:
            cost = 0
        elif unknown_flags:
            unknown = self.model.new_bool_var("")
            self.model.add_max_equality(unknown, [literal.negated() for literal in unknown_flags])
            known = self.model.new_int_var(0, FAR, "")
            self.model.add(known == cost).only_enforce_if(unknown.negated())
            self.model.add(known == 0).only_enforce_if(unknown)
            cost = known
        return {
            "unproved": unproved,
            "unknown_cost": unknown,
            "cost": cost,
            "layers": self._sum({each: facet.layers for each, facet in facets.items()}),
            "operations": self._sum({each: facet.operations for each, facet in facets.items()}),
        }

    def _below(self, proof: Linear | None) -> list[Any]:
        """A literal that is true exactly where a proof's sum is below 0; none where it never is."""
        if proof is None or self._always(proof):
            return []
        return [
            self._missed(Linear("", {}), Linear("", {each: at[self.first[each]] for each, at in proof.terms.items()}))
        ]

    def _id_ranks(self) -> dict[str, Any]:
        found = {}
        for each in self.rows:
            for kind, (ranks, _) in self.terms.facets.facets[each].ranks.items():
                found[kind] = self._sum({each: ranks})
        return {kind: found[kind] for kind in KINDS if kind in found}

    def _links(self) -> None:
        short = self.terms.facets.facets["short"].state
        if "base" in self.rows:
            base = self.terms.facets.facets["base"].state
            for state in np.unique(base[self.first["base"]]).tolist():
                left = [
                    x for x, row in zip(self.chosen["short"], self.first["short"], strict=True) if short[row] == state
                ]
                right = [
                    x for x, row in zip(self.chosen["base"], self.first["base"], strict=True) if base[row] == state
                ]
                self.model.add(cp_model.LinearExpr.sum(left) == cp_model.LinearExpr.sum(right))
        for number, allowed in enumerate(self.terms.facets.tag_sets):
            on_block = [
                x for x, row in zip(self.chosen["short"], self.first["short"], strict=True) if allowed[short[row]]
            ]
            for each, rows in self.first.items():
                tags = self.terms.facets.facets[each].tags
                if each == "short" or not len(tags):
                    continue
                members = [x for x, row in zip(self.chosen[each], rows, strict=True) if tags[row] == number]
                if members:
                    self.model.add(cp_model.LinearExpr.sum(members) <= cp_model.LinearExpr.sum(on_block))

    def _add(self, linear: Linear) -> None:
        literals, always = self._skips(linear.skip)
        if always:
            return
        total = self._term(linear.terms) + sum(self._cell(table, self.first) for table in linear.tables)
        if isinstance(total, int):
            if total < 0:
                self._forbid(literals)
            return
        constraint = self.model.add(total >= 0)
        if literals:
            constraint.only_enforce_if(literals)

    def _forbid(self, literals: list[Any]) -> None:
        """What would hold only if one of the skips does: one of them must."""
        self.model.add_bool_or([literal.negated() for literal in literals] or [self.model.new_constant(0)])

    def _add_square(self, square: Square) -> None:
        literals, always = self._skips(square.skip)
        if always:
            return
        high = self._range(square.terms)[1]
        if high < 0:
            return  # the linear limit beside it has already said no
        clear = self.model.new_int_var(0, high, "")
        self.model.add_max_equality(clear, [self._term(square.terms), 0])
        if high > LARGEST_ROOT:  # more than the root of all variances is as good as that
            enough = math.isqrt(max(self._range(square.variances)[1], 0)) + 1
            capped = self.model.new_int_var(0, min(high, enough), "")
            self.model.add_min_equality(capped, [clear, enough])
            high, clear = min(high, enough), capped
        squared = self.model.new_int_var(0, high * high, "")
        self.model.add_multiplication_equality(squared, [clear, clear])
        constraint = self.model.add(squared >= self._term(square.variances))
        if literals:
            constraint.only_enforce_if(literals)

    def _add_table(self, table: Table) -> Any:
        keep = {each: np.isin(np.arange(len(table.index[each])), self.first[each]) for each in table.index}
        allowed = cells(table, keep)
        variables = [self._column(each, column) for each, column in table.index.items()]
        points: Any = 0
        if table.points is not None:
            highest = max((int(table.points[cell]) for cell in allowed), default=0)
            points = self.model.new_int_var(0, max(highest, 0), "")
        tuples = [(*cell, int(table.points[cell])) if table.points is not None else cell for cell in allowed]
        columns = [*variables, points] if table.points is not None else variables
        columns = [self.model.new_constant(each) if isinstance(each, int) else each for each in columns]
        if tuples:
            self.model.add_allowed_assignments(columns, tuples)
        else:
            self._forbid([])
        return points

    def _aim_sum(self, aim: AimSum) -> Any:
        literals, always = self._skips(aim.skip)
        if always:
            return 0
        low, high = self._range(aim.terms)
        reach = max(abs(low), abs(high))
        total = self._term(aim.terms)
        away = self.model.new_int_var(0, reach, "")
        self.model.add_abs_equality(away, total)
        if aim.error:
            closer = self.model.new_int_var(0, reach, "")
            self.model.add_max_equality(closer, [away - aim.error, 0])
            away = closer
        count = self.model.new_int_var(0, reach // aim.step, "")
        self.model.add_division_equality(count, away, aim.step)
        return aim.weight * self._unless(count, reach // aim.step, literals)

    def _unless(self, count: Any, most: int, literals: list[Any]) -> Any:
        """``count``, or 0 where something is skipped."""
        if not literals:
            return count
        counted = self.model.new_int_var(0, most, "")
        self.model.add(counted == count).only_enforce_if(literals)
        for literal in literals:
            self.model.add(counted == 0).only_enforce_if(literal.negated())
        return counted

    def _aim_levels(self, levels: AimLevels) -> Any:
        literals, always = self._skips(levels.skip)
        if always:
            return 0
        most = self.budgets[levels.name] // levels.weight
        missed: list[Any] = []
        certain = 0
        for side, count in (("min", levels.most[0]), ("max", levels.most[1])):
            for index in range(min(count, most + 1)):
                level = levels.level(side, index, self.first)  # type: ignore[arg-type]
                if level is None:
                    break
                columns = [values for linear in level for values in linear.terms.values()]
                columns += [table.values for linear in level for table in linear.tables]
                lowest, highest = (sum(int(end(values)) for values in columns) for end in (np.min, np.max))
                if lowest >= 0:
                    break
                if highest < 0:
                    certain += 1
                else:
                    missed.append(self._missed(*level))
        if not missed:
            return levels.weight * self._unless(certain, certain, literals)
        total = self.model.new_int_var(0, len(missed) + certain, "")
        self.model.add(total == cp_model.LinearExpr.sum(missed) + certain)
        return levels.weight * self._unless(total, len(missed) + certain, literals)

    def _missed(self, same: Linear, rest: Linear) -> Any:
        """A literal that is true exactly where a sum over classes (in two parts) is negative."""
        tick()
        literal = self.model.new_bool_var("")
        total = self._total(same.terms) + self._total(rest.terms)
        total = total + sum(self._cell(table, None) for table in rest.tables)
        self.model.add(total >= 0).only_enforce_if(literal.negated())
        self.model.add(total <= -1).only_enforce_if(literal)
        return literal
