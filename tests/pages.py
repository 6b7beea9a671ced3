"""The reference pages, written from the code that they describe: figures, commands, formats.

    python -m tests.pages           # writes them anew
    python -m tests.pages --check   # ends with status 1 where one is not as the code is

A test looks whether they are fresh. Nothing in them is written by hand.
"""

from __future__ import annotations

import inspect
import math
import re
import sys
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

import typer

from kitwright.catalogs import plan_text
from kitwright.catalogs.advice import default_advice
from kitwright.catalogs.plan_goals import BOUNDS, SPEED
from kitwright.catalogs.plan_measured import REMARKS, SHORT_BLOCK
from kitwright.catalogs.rows import specs_of
from kitwright.catalogs.schema_values import absent_in_words, range_in_words
from kitwright.cli.main import app
from kitwright.cli.output import Status
from kitwright.cli.report.figure_report import by_group, confirmed_row, leaf_meaning, step_text, unit_text, usual_ranges
from kitwright.cli.report.words import words
from kitwright.solver.fields import FieldSpec
from kitwright.solver.formulas.materials import MATERIALS
from kitwright.solver.notes import ABSENT
from kitwright.solver.parts import KINDS, Part
from kitwright.solver.plan import MACHINING, REV_CEILING, TOLERANCES, Advice
from kitwright.solver.registry import FIGURES, Figure

ROOT = Path(__file__).parent.parent
WRITTEN = "This page is written from the code by `python -m tests.pages`: change the code, not the page."


def table(header: Sequence[str], rows: Iterable[Sequence[str]]) -> list[str]:
    """A table in Markdown; bars inside a cell are kept as text."""
    lines = [header, ["---"] * len(header), *rows]
    return [f"| {' | '.join(cell.replace('|', chr(92) + '|') for cell in line)} |" for line in lines]


def page(*parts: str | Sequence[str]) -> str:
    """Parts with an empty line between."""
    return "\n\n".join(part if isinstance(part, str) else "\n".join(part) for part in parts) + "\n"


def capital(text: str) -> str:
    return text[:1].upper() + text[1:]


# figures


def figures_page() -> str:
    """Every figure: meaning, unit, formula, range, source, inputs, default step."""
    parts: list[str | list[str]] = [
        "# Figures",
        WRITTEN,
        "Each of these can be a goal of a plan. The step is the smallest difference that matters unless the plan says "
        "otherwise. Inputs are fields of parts, of the plan, or other figures; *may be unknown* marks those that the "
        "figure can do without. A source that is *recalled* was not at hand; what confirms it stands below it. "
        "`kitwright figures NAME` says the same on the command line.",
    ]
    for group, figures in by_group():
        parts.append(f"## {capital(group)}")
        rows = [[f"[{each.name}](#{each.name})", unit_text(each), step_text(each), each.meaning] for each in figures]
        parts.append(table(("figure", "unit", "step", "meaning"), rows))
        for each in figures:
            parts += one_figure(each)
    parts += ["## The goal that is no figure", f"### {REV_CEILING}", f"{capital(SPEED.meaning)} [rpm]."]
    helpers = [each for each in FIGURES.values() if not each.public]
    parts += ["## Steps in between", "No goals, but figures above are worked out from them."]
    for each in helpers:
        parts += one_figure(each)
    return page(*parts, *materials())


def materials() -> list[str | list[str]]:
    """The table of materials, each with its source."""

    def shown(value: float, unit: float) -> str:
        return "" if math.isnan(value) else f"{value / unit:.4g}"

    rows = []
    for each in MATERIALS:
        span = each.elasticity_range
        elasticity = f"{shown(span[0], 1e9)} to {shown(span[1], 1e9)}" if span else shown(each.elasticity, 1e9)
        sizes = [modulus for _, modulus in each.shear_by_wire]
        shear = f"{shown(sizes[0], 1e9)} to {shown(sizes[-1], 1e9)}" if sizes else shown(each.shear_modulus, 1e9)
        numbers = (elasticity, shown(each.density, 1000), shown(each.expansion, 1e-6), shear)
        rows.append((each.name, ", ".join(each.aliases), *numbers, each.source))
    return [
        "## Materials",
        "What a part's `material` may be, at room temperature: Young's modulus in GPa, density in g/cm³, expansion in "
        "1e-6/K, shear modulus of spring wire in GPa. Of a range of Young's modulus the middle is taken; a shear "
        "modulus that goes by the wire's size falls as the wire grows.",
        table(("material", "also", "E", "density", "expansion", "G", "source"), rows),
    ]


def one_figure(figure: Figure) -> list[str | list[str]]:
    unit = unit_text(figure)
    rows = [
        ["unit", unit or "none"],
        ["formula", figure.formula],
        ["range", range_of(figure.function)],
        ["source", figure.source],
        *([name, text] for name, text in confirmed_row(figure)),
        ["default step", f"{step_text(figure)} {unit}".strip()],
        ["in JSON and CSV", f"`{figure.key}`"],
    ]
    if figure.bound_without:
        known = ", ".join(figure.bound_without)
        rows.append(["proves no minimum", f"without {known}: it is then an upper bound alone"])
    inputs = [input_row(each) for each in figure.inputs]
    return [
        f"### {figure.name}",
        f"{capital(figure.meaning)}.",
        table(("about", ""), rows),
        *([table(("input", "what it is"), inputs)] if inputs else []),
    ]


def input_row(name: str) -> list[str]:
    bare = name.rstrip("?")
    unknown = " (may be unknown)" if name.endswith("?") else ""
    if bare in FIGURES:
        return [f"[{bare}](#{bare})", f"{FIGURES[bare].meaning}{unknown}"]
    return [f"`{bare}`", f"{leaf_meaning(bare)}{unknown}"]


def range_of(function: Callable[..., Any]) -> str:
    """The sentence of the docstring that says where the formula holds."""
    text = " ".join((inspect.getdoc(function) or "").split())
    found = re.search(r"\bValid (.+?)\.(?=\s|$)", text)
    return (
        re.sub(r":\w+:`~?(?:[\w.]*\.)?(\w+)`", r"`\1`", found[1].replace("``", "`")) if found else "no limit is stated"
    )


# commands


def commands_page(program: typer.Typer = app) -> str:
    """Every command with its options, examples and exit status."""
    top = typer.main.get_command(program)
    parts: list[str | list[str]] = [
        "# Commands",
        WRITTEN,
        "Answers go to standard output, everything else to standard error. Every command ends with one of these:",
        table(("status", "meaning"), [[str(int(each)), STATUS[each]] for each in Status]),
        "What differs from it stands with the command. `-h` or `--help` after any of them says what is said here.",
    ]
    for path, command in commands(top):
        parts += one_command(path, command)
    return page(*parts)


STATUS = {
    Status.ANSWERED: "answered",
    Status.NOTHING: "nothing fits, or a check fails",
    Status.INPUT: "the input is at fault: a plan, a catalogue or an option",
    Status.STOPPED: "stopped before the search was complete",
}


def commands(command: Any, path: tuple[str, ...] = ("kitwright",)) -> Iterator[tuple[tuple[str, ...], Any]]:
    """Every command that does something, in the order of the help."""
    inner: Mapping[str, Any] | None = getattr(command, "commands", None)
    if inner is None:
        yield path, command
        return
    for name, each in inner.items():
        if not each.hidden:
            yield from commands(each, (*path, name))


def one_command(path: tuple[str, ...], command: Any) -> list[str | list[str]]:
    context = command.make_context(" ".join(path), [], resilient_parsing=True)
    usage = " ".join([*path, *command.collect_usage_pieces(context)])
    parts: list[str | list[str]] = [f"## {' '.join(path)}", inspect.cleandoc(command.help or ""), f"```\n{usage}\n```"]
    for what in ("argument", "option"):
        listed = [each for each in command.params if each.param_type_name == what]
        records = [each.get_help_record(context) for each in listed]
        rows = [[f"`{names}`", help_text] for names, help_text in filter(None, records)]
        if rows:
            parts.append(table((what, "meaning"), rows))
    for block in re.split(r"\n\s*\n", inspect.cleandoc(command.epilog or "")):
        title, _, lines = block.replace("\b", "").strip().partition("\n")
        if lines:
            parts += [title, f"```\n{inspect.cleandoc(lines)}\n```"]
    return parts


# formats


def format_page() -> str:
    """Every kind and field of a catalogue, and every key of a plan."""
    common = specs_of(Part)
    parts: list[str | list[str]] = [
        "# Formats",
        WRITTEN,
        "## A catalogue",
        "A folder of `.yaml` and `.csv` files. A YAML file maps kinds to lists of parts; a CSV file holds one kind, "
        "which is its name (`cranks.csv`) or stands in a column `kind`, and its header names the fields with their "
        "units. A value carries its unit, and its ± where that is known: `57.00 mm ± 0.02 mm`. Units are the usual "
        "ones; every "
        "other unit of the right dimension is read, too. A value outside its plausible range is a fault. In a CSV file "
        "tags stand with blanks between them, and several values with semicolons.",
        "These fields every part has:",
        field_table(common),
    ]
    for cls in KINDS.values():
        known = {name: spec for name, spec in specs_of(cls).items() if name not in common}
        parts += [f"### {cls.plural}", (cls.__doc__ or "").split("\n")[0], field_table(known)]
        parts += [f"The header of `{cls.plural}.csv`, with what a part must have:", f"```\n{csv_header(cls)}\n```"]
    return page(*parts, *plan_parts())


def field_table(known: Mapping[str, FieldSpec]) -> list[str]:
    rows = []
    for name, spec in fields_of(known):
        units = ", ".join(spec.dimension.likely) if spec.dimension else ""
        rows.append([f"`{name}`", units or _form(spec), range_in_words(spec), absent_in_words(spec), spec.meaning])
    return table(("field", "unit", "plausible", "absent", "meaning"), rows)


def _form(spec: FieldSpec) -> str:
    if spec.choices:
        return " or ".join(spec.choices)
    return f"{FORMS['flag']}, or {FORMS['group']}" if spec.or_flag else FORMS[spec.form]


FORMS = {
    "quantity": "bare number",
    "quantities": "bare numbers",
    "count": "whole number",
    "money": "money",
    "text": "text",
    "tags": "list of words",
    "flag": "true or false",
    "readings": "CSV file",
    "choice": "word",
    "group": "fields of its own",
}


def fields_of(known: Mapping[str, FieldSpec]) -> Iterator[tuple[str, FieldSpec]]:
    """Fields with those of nested groups below them, as `mill.max`."""
    for name, spec in known.items():
        yield name, spec
        if spec.group is not None:
            yield from ((f"{name}.{inner}", each) for inner, each in specs_of(spec.group).items())


def csv_header(cls: type[Part]) -> str:
    """A header that a CSV file of the kind can begin with: all that is required, price and shelf."""
    cells = []
    for name, spec in specs_of(cls).items():
        if spec.required or name in ("price", "on_shelf"):
            unit = spec.dimension.likely[0] if spec.dimension and spec.dimension.likely else ""
            cells.append(f"{name} [{unit}]" if unit else name)
    return ",".join(cells)


def plan_parts() -> list[str | list[str]]:
    temperatures = ", ".join(f"`{word}`" for word in plan_text.TEMPERATURE_WORDS)
    return [
        "## A plan",
        "A YAML file. All of it but `catalogue` may be left out; a key that is not listed here is a fault.",
        keys_table(plan_text.PLAN_KEYS),
        f"`tolerance` is one of {one_of(TOLERANCES)}; `units` one of {one_of(plan_text.UNITS_SHOWN)}.",
        "### goals",
        "A figure (see [FIGURES.md](../solver/FIGURES.md)) and one value, which is its aim, or any of these. Values "
        f"carry the unit of the figure. `{REV_CEILING}` takes one speed, or `min` alone.",
        keys_table(BOUNDS),
        "### parts",
        keys_table(plan_text.PARTS_KEYS),
        f"Kinds are named in the singular: {one_of(KINDS)}.",
        "### allow",
        keys_table(plan_text.ALLOW_KEYS),
        f"Operations are {one_of(MACHINING)}. A stack may have {plan_text.GASKETS.high:.0f} gaskets at most.",
        "### measured",
        "A list; each entry names one dimension and its value. `deck` goes `with` four parts "
        f"({one_of(SHORT_BLOCK)}) and says which way: `0.32 mm down ± 0.02 mm`. Any other dimension of a part, nested "
        "ones as `mill.step`, goes with `of` and the part's id. These may stand beside it and change nothing:",
        keys_table(REMARKS),
        "### conditions",
        keys_table(plan_text.CONDITION_KEYS),
        f"Temperatures are given for {temperatures}.",
        "### reference",
        field_table(plan_text.REFERENCE),
        *advice_parts(),
    ]


def advice_parts() -> list[str | list[str]]:
    """Every usual range with its source, and what it assumes."""
    parts: list[str | list[str]] = [
        "### advice",
        "Figures, and for each in words a range with `min`, `max` or both in the figure's unit. They are shown beside "
        "the figure and are never a limit. A figure named here takes the place of these usual ranges:",
    ]
    for name, ranges in default_advice().items():
        rows = [(*row, conditions(each)) for row, each in zip(usual_ranges(FIGURES[name]), ranges, strict=True)]
        parts += [
            f"#### {words(name)}",
            table(("for", "range", "source", "shown"), rows),
            f"For: {ranges[0].assumes}. {ranges[0].basis}.",
        ]
    return parts


def conditions(advice: Advice) -> str:
    """When a range is shown."""
    said = [f"without `{field}`" if wanted == ABSENT else f"`{field}` {wanted}" for field, wanted in advice.when]
    return " and ".join(said) or "always"


def keys_table(meanings: Mapping[str, str]) -> list[str]:
    return table(("key", "meaning"), [[f"`{key}`", meaning] for key, meaning in meanings.items()])


def one_of(words: Iterable[str]) -> str:
    return ", ".join(f"`{word}`" for word in words)


PAGES: dict[str, Callable[[], str]] = {
    "solver/FIGURES.md": figures_page,
    "cli/COMMANDS.md": commands_page,
    "catalogs/FORMAT.md": format_page,
}


def main(words: Sequence[str]) -> int:
    """Write the pages, or say which are stale."""
    stale = []
    for name, make in PAGES.items():
        path, text = ROOT / name, make()
        if not path.exists() or path.read_text(encoding="utf-8") != text:
            stale.append(name)
            if "--check" not in words:
                path.write_text(text, encoding="utf-8", newline="")
    print(*(stale or ["all pages are fresh"]), sep="\n")
    return 1 if stale and "--check" in words else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
