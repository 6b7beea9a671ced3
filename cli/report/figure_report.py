"""Reports on the figures themselves: what each is, how it is worked out, from what."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

import kitwright.solver.formulas  # noqa: F401  (fills the registry)
from kitwright.catalogs.advice import default_advice
from kitwright.cli.report.blocks import Column, Command, Paragraph, Report, Section, Table, Title
from kitwright.cli.report.notes import range_text
from kitwright.cli.report.numbers import bare
from kitwright.cli.report.words import words
from kitwright.solver.fields import specs
from kitwright.solver.formulas.recalled import confirmation
from kitwright.solver.parts import KINDS
from kitwright.solver.registry import FIGURES, GROUPS, UNITS, Figure, leaves_of, public_figures

CEILING = {
    "figure": "rev_ceiling",
    "meaning": "speed that every rated part must carry, and at which speed-dependent figures are taken",
}

_OWNERS = {
    "money": {
        "to_spend": "prices of the parts to buy, and labour",
        "parts_to_buy": "parts that are not on the shelf",
    },
    "machining": {
        "mill": "what is taken off the head's face",
        "relieve": "what the chamber is opened by",
        "deck_cut": "what is taken off the deck",
    },
    "cam": {
        "intake_curve": "a degree wheel's readings of the intake lobe, in place of the data sheet",
        "intake_skew": "how far a degree wheel's readings put the middle of the intake's duration after its nose",
        "exhaust_skew": "how far a degree wheel's readings put the middle of the exhaust's duration after its nose",
        "exhaust_curve": "a degree wheel's readings of the exhaust lobe, in place of the data sheet",
    },
    "plan": {"rev_ceiling": "the rev ceiling"},
    "conditions": {
        "altitude": "height above the sea",
        "polytropic": "exponent of compression",
        "float_margin": "how many times the rev ceiling valve float must exceed",
        "peak_pressure": "absolute peak pressure of firing",
        "rope_radius": "radius at which the starting rope pulls",
    },
    "reference": {
        "pushrod": "a pushrod length known to be right",
        "gasket_stack": "gasket stack that it was right for",
        "base_radius": "base circle radius that it was right for",
        "mill": "head milling that it was right for",
        "deck_cut": "deck cut that it was right for",
        "pushrod_angle": "pushrod against the cylinder",
        "balance_factor": "balance factor that the engine ran with before",
    },
    "measured": {"deck": "deck as measured with these four parts"},
    "gaskets": {"count": "layers in the stack"},
}
"""Inputs that are no field of a part, in words."""

_PROPERTIES = {
    "elasticity": "elasticity",
    "shear_modulus": "shear modulus",
    "density": "density",
    "expansion": "expansion with heat",
    "case_expansion": "expansion with heat",
    "wire_yield": "torsional yield at 1 mm",
    "wire_exponent": "exponent of strength over diameter",
}


def by_group() -> Iterator[tuple[str, list[Figure]]]:
    """Give the builder's steps that have figures, each with them."""
    for group in GROUPS:
        figures = [figure for figure in public_figures().values() if figure.group == group]
        if figures:
            yield group, figures


def list_report() -> Report:
    """All figures by step."""
    rows: list[tuple[str, ...] | Section] = []
    for group, figures in by_group():
        rows.append(Section(group))
        rows += [(each.name, unit_text(each), step_text(each), each.meaning) for each in figures]
    rows.append(Section("asked of the parts, not worked out"))
    rows.append((CEILING["figure"], "rpm", "", CEILING["meaning"]))
    columns = (Column("figure"), Column("unit"), Column("step", "right"), Column("meaning", wraps=True))
    return [
        Title("Figures", 1),
        Paragraph("Each can be a goal of the plan: aim, min, max. Step is the smallest difference that matters."),
        Table(columns, tuple(rows)),
        Command("How one is worked out", ("kitwright", "figures", "quench")),
    ]


def one_report(figure: Figure) -> Report:
    """One figure: meaning, formula, inputs, source."""
    unit = unit_text(figure)
    report: Report = [
        Title(f"{figure.name}{f' [{unit}]' if unit else ''}", 1),
        Paragraph(f"{_capital(figure.meaning)}."),
    ]
    rows = (
        ("formula", figure.formula),
        ("source", figure.source),
        *confirmed_row(figure),
        (
            "step",
            f"{step_text(figure)} {unit}".strip()
            + ", the smallest difference that matters unless the plan says otherwise",
        ),
        ("goes with", figure.group),
        ("in JSON and CSV", figure.key),
    )
    report.append(Table((Column("about"), Column("", wraps=True)), rows))
    inputs = tuple(
        (each["field"], each["meaning"] + (" (may be unknown)" if each["optional"] else ""))
        for each in inputs_of(figure)
    )
    if inputs:
        report.append(Table((Column("from"), Column("what it is", wraps=True)), inputs, "Worked out from"))
    usual = usual_ranges(figure)
    if usual:
        report.append(
            Table((Column("for"), Column("range"), Column("source", wraps=True)), usual, "Usual ranges, no verdict")
        )
        about = default_advice()[figure.name][0]
        report.append(Paragraph(f"For: {about.assumes}. {about.basis}."))
    if figure.bound_without:
        report.append(
            Paragraph(f"Without {', '.join(figure.bound_without)} it is an upper bound and proves no minimum.")
        )
    value = f"0.8{unit}" if unit == "mm" else f"…{unit}"
    report.append(
        Command(
            "As a goal on the command line",
            ("kitwright", "find", "plan.yaml", "--min", f"{figure.name}={value}"),
        )
    )
    return report


def confirmed_row(figure: Figure) -> tuple[tuple[str, str], ...]:
    """What confirms a source that is recalled; no row where it was seen."""
    found = confirmation(figure.name, figure.function.__name__, figure.source)
    return (("confirmed by", found),) if found else ()


def usual_ranges(figure: Figure) -> tuple[tuple[str, str, str], ...]:
    """What the usual ranges of a figure are for, each with its ends and its source."""
    ranges = default_advice().get(figure.name, ())
    return tuple((each.words, range_text(each, "mm"), each.source) for each in ranges)


def ceiling_report() -> Report:
    """Give the goal that is no figure."""
    return [
        Title("rev_ceiling [rpm]", 1),
        Paragraph(f"{_capital(CEILING['meaning'])}."),
        Paragraph("Crank, rod, cam, spring and flywheel each need a rating for it to be established."),
        Command(
            "As a goal on the command line",
            ("kitwright", "find", "plan.yaml", "--min", "rev_ceiling=4500rpm"),
        ),
    ]


def unit_text(figure: Figure) -> str:
    """Give the unit as it is written."""
    return "money" if figure.unit == "money" else UNITS[figure.unit][1]


def step_text(figure: Figure) -> str:
    """Give the default step."""
    return bare(figure.step)


def inputs_of(figure: Figure) -> list[dict[str, Any]]:
    """Fields that a figure is worked out from, in words."""
    needed = set(leaves_of(figure.name, optional=False))
    return [
        {"field": leaf, "meaning": leaf_meaning(leaf), "optional": leaf not in needed}
        for leaf in leaves_of(figure.name)
    ]


def leaf_meaning(leaf: str) -> str:
    """Say what an input is: ``crank.stroke`` is the crank's stroke."""
    owner, _, rest = leaf.partition(".")
    if rest in _OWNERS.get(owner, {}):
        return _OWNERS[owner][rest]
    if rest in _PROPERTIES:
        return f"{_PROPERTIES[rest]} of the {owner}'s material, from the table of materials"
    if owner == "conditions":
        return f"temperature of the {words(rest.rpartition('.')[2])}"
    kind = "gasket" if owner == "gaskets" else owner
    name, _, inner = rest.partition(".")
    spec = specs(KINDS[kind])[name]
    return specs(spec.group)[inner].meaning if spec.group is not None and inner else spec.meaning


def figure_data(figure: Figure) -> dict[str, Any]:
    """Give a figure for JSON."""
    return {**figure_row(figure), "inputs": inputs_of(figure)}


def figure_row(figure: Figure) -> dict[str, Any]:
    """Give a figure for CSV."""
    return {
        "figure": figure.name,
        "key": figure.key,
        "unit": UNITS[figure.unit][1],
        "group": figure.group,
        "step": figure.step,
        "meaning": figure.meaning,
        "formula": figure.formula,
        "source": figure.source,
        "confirmed_by": confirmation(figure.name, figure.function.__name__, figure.source),
    }


def figure_rows(figures: list[Figure]) -> tuple[list[str], list[Mapping[str, Any]]]:
    """Header and rows for CSV."""
    rows: list[Mapping[str, Any]] = [figure_row(each) for each in figures]
    return list(rows[0]), rows


def find_figure(name: str) -> Figure:
    """Give the figure of a goal key, or of a key with its unit.

    Raises:
        ValueError: there is none; the text names those that look like it.

    """
    from kitwright.catalogs.problems import did_you_mean

    known = public_figures()
    by_key = {figure.key: figure for figure in FIGURES.values() if figure.public}
    found = known.get(name) or by_key.get(name)
    if found is None:
        near = did_you_mean(name, [*known, CEILING["figure"]], "figures")
        raise ValueError(f"`{name}` is no figure; {near}")
    return found


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
