"""Options that several commands share, and how they become settings over a plan.

Only names and texts live here: everything heavy is imported when a command runs, so that ``--help`` is
there at once.
"""

from __future__ import annotations

import inspect
from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum
from functools import wraps
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from kitwright.cli import completion
from kitwright.cli.output import say_warnings
from kitwright.cli.seen import quoted

if TYPE_CHECKING:
    from kitwright.catalogs import InputError, Overrides
    from kitwright.cli.report.found import Question
    from kitwright.solver.catalogue import Catalogue
    from kitwright.solver.plan import Bench, Plan


class Format(StrEnum):
    """How a result is written."""

    TABLE = "table"
    JSON = "json"
    CSV = "csv"
    MARKDOWN = "markdown"


class Mode(StrEnum):
    """How tolerances are taken."""

    NOMINAL = "nominal"
    STATISTICAL = "statistical"
    WORST_CASE = "worst_case"


class Units(StrEnum):
    """How lengths are shown."""

    MM = "mm"
    IN = "in"


OVER = "Over the plan"
RESULT = "The answer"

PlanFile = Annotated[
    Path,
    typer.Argument(metavar="PLAN", help="The plan, a YAML file.", show_default=False, autocompletion=completion.plans),
]
FormatOption = Annotated[
    Format, typer.Option("--format", "-f", help="How the answer is written.", rich_help_panel=RESULT)
]
Seconds = Annotated[
    float,
    typer.Option("--time", min=0.0, metavar="S", help="Stop after so many seconds.", rich_help_panel=RESULT),
]
OutputOption = Annotated[
    Path | None,
    typer.Option(
        "--output",
        "-o",
        metavar="FILE",
        help="Write the answer to a file, whole or not at all.",
        rich_help_panel=RESULT,
        show_default=False,
    ),
]


def _texts(flag: str, metavar: str, help_text: str, offer: completion.Offer) -> object:
    return typer.Option(
        flag, metavar=metavar, help=help_text, rich_help_panel=OVER, show_default=False, autocompletion=offer
    )


Aims = Annotated[list[str] | None, _texts("--aim", "FIGURE=VALUE", "Rank by it: compression=10.5", completion.bounds)]
Minima = Annotated[list[str] | None, _texts("--min", "FIGURE=VALUE", "No less: quench=0.7mm", completion.bounds)]
Maxima = Annotated[list[str] | None, _texts("--max", "FIGURE=VALUE", "No more: cost=250", completion.bounds)]
Steps = Annotated[
    list[str] | None, _texts("--step", "FIGURE=VALUE", "Smallest difference that matters.", completion.bounds)
]
Weights = Annotated[
    list[str] | None, _texts("--weight", "FIGURE=N", "How much a figure's closeness counts.", completion.bounds)
]
Pins = Annotated[
    list[str] | None, _texts("--use", "KIND=ID", "Pin a part: crank=k57; gasket=ID again for a stack.", completion.pins)
]
Choices = Annotated[
    list[str] | None,
    _texts("--use", "KIND=ID", "Take this part: crank=k57; gasket=ID again for a stack.", completion.pins),
]
Machine = Annotated[
    list[str] | None,
    typer.Option(
        metavar="WORK=AMOUNT",
        autocompletion=completion.amounts,
        help="Machining to be done: mill=0.25mm, relieve=2cc, deck_cut=0.1mm, rebore=72.5mm",
        show_default=False,
    ),
]
Avoided = Annotated[list[str] | None, _texts("--avoid", "ID", "Leave a part out.", completion.ids)]
Kinds = Annotated[
    list[str] | None, _texts("--kinds", "KIND,…", "Look at these kinds alone: rod,piston", completion.kinds)
]
Optional = Annotated[
    list[str] | None,
    _texts("--optional", "KIND,…", "Kinds that may be left out: retainer,spring_shim", completion.kinds),
]
Machining = Annotated[
    list[str] | None,
    _texts("--machining", "WORK,…", "Machining allowed: mill,relieve,deck_cut,rebore", completion.works),
]
ShelfOnly = Annotated[
    bool | None,
    typer.Option(
        "--shelf-only/--no-shelf-only",
        help="Parts from the shelf alone, or not.",
        rich_help_panel=OVER,
        show_default=False,
    ),
]
Gaskets = Annotated[
    int | None,
    typer.Option(metavar="N", help="Most gaskets in one stack.", rich_help_panel=OVER, show_default=False),
]
Tolerance = Annotated[
    Mode | None,
    typer.Option(
        help="How the ± of parts are taken. Statistical covers about 92 % of builds (99.7 % where a ± is three "
        "standard deviations) and guarantees none.",
        rich_help_panel=OVER,
        show_default=False,
    ),
]
Engine = Annotated[
    str | None,
    typer.Option("--engine", metavar="NAME", help="Of several engines in the plan, this one.", show_default=False),
]
UnitsOption = Annotated[
    Units | None,
    typer.Option(help="How lengths are shown in tables and Markdown.", rich_help_panel=RESULT, show_default=False),
]


@dataclass(slots=True)
class Settings:
    """What was typed over the plan, as it was typed; ``None`` leaves the plan alone."""

    aim: list[str] | None = None
    minimum: list[str] | None = None
    maximum: list[str] | None = None
    step: list[str] | None = None
    weight: list[str] | None = None
    use: list[str] | None = None
    avoid: list[str] | None = None
    kinds: list[str] | None = None
    optional: list[str] | None = None
    machining: list[str] | None = None
    shelf_only: bool | None = None
    gaskets: int | None = None
    tolerance: Mode | None = None
    units: Units | None = None
    engine: str | None = None

    def load(self, plan: Path, warn: bool = True) -> tuple[Plan, Catalogue]:
        """Read a plan with its catalogue, what was typed over it; what looks odd is said.

        Raises:
            InputError: with everything that is wrong with the plan, the catalogue or what was typed.

        """
        from kitwright.catalogs import load_plan

        wanted, catalogue = load_plan(plan, self.overrides())
        if warn:
            say_warnings(catalogue.warnings, f"kitwright shelf check --plan {quoted(str(plan))}")
        return wanted, catalogue

    def load_asked(self, plan: Path) -> tuple[Plan | Bench, Catalogue]:
        """Read the same; a plan of several engines, none of which was named, as a bench of them all.

        Raises:
            InputError: with everything that is wrong with the plan, the catalogue or what was typed.

        """
        from kitwright.catalogs import load_asked

        asked, catalogue = load_asked(plan, self.overrides())
        say_warnings(catalogue.warnings, f"kitwright shelf check --plan {quoted(str(plan))}")
        return asked, catalogue

    def questions(self, plan: Path, bench: Bench, catalogue: Catalogue) -> dict[str, Question]:
        """Give what was asked of each engine of a bench, as if it had been asked alone."""
        from kitwright.cli.report.found import Question

        return {
            name: Question(str(plan), each, (*self.typed(), "--engine", name), tuple(self.use or ()), catalogue, 1)
            for name, each in bench.engines.items()
        }

    def overrides(self) -> Overrides:
        """Give the same as the catalogues' reader takes it."""
        from kitwright.catalogs import Overrides

        return Overrides(
            aim=list(self.aim or ()),
            minimum=list(self.minimum or ()),
            maximum=list(self.maximum or ()),
            step=list(self.step or ()),
            weight=list(self.weight or ()),
            use=list(self.use or ()),
            avoid=list(self.avoid or ()),
            kinds=list(self.kinds or ()),
            optional=list(self.optional or ()),
            machining=list(self.machining or ()),
            shelf_only=self.shelf_only,
            gaskets=self.gaskets,
            tolerance=self.tolerance.value if self.tolerance else None,
            units=self.units.value if self.units else None,
            engine=self.engine,
        )

    def typed(self) -> tuple[str, ...]:
        """Give the same as words of a command line, without the pins and the way that lengths are shown."""
        found: list[str] = []
        lists = {
            "--aim": self.aim,
            "--min": self.minimum,
            "--max": self.maximum,
            "--step": self.step,
            "--weight": self.weight,
            "--avoid": self.avoid,
            "--kinds": self.kinds,
            "--optional": self.optional,
            "--machining": self.machining,
        }
        for option, texts in lists.items():
            found += [word for text in texts or () for word in (option, text)]
        if self.shelf_only is not None:
            found.append("--shelf-only" if self.shelf_only else "--no-shelf-only")
        if self.gaskets is not None:
            found += ["--gaskets", str(self.gaskets)]
        if self.tolerance is not None:
            found += ["--tolerance", self.tolerance.value]
        if self.engine is not None:
            found += ["--engine", self.engine]
        return tuple(found)


def one_engine(bench: Bench, plan: Path, option: str) -> InputError:
    """Say that an option is for one engine, and how to name it."""
    from kitwright.catalogs import InputError, Problem

    message = f"{plan} is the plan of several engines: {', '.join(bench.engines)}"
    return InputError([Problem(message, f"say which: `--engine {quoted(next(iter(bench.engines)))}`", option)])


_OVER_THE_PLAN: dict[str, Any] = {
    "aim": Aims,
    "minimum": Minima,
    "maximum": Maxima,
    "step": Steps,
    "weight": Weights,
    "use": Pins,
    "avoid": Avoided,
    "shelf_only": ShelfOnly,
    "kinds": Kinds,
    "optional": Optional,
    "gaskets": Gaskets,
    "machining": Machining,
    "tolerance": Tolerance,
    "units": UnitsOption,
    "engine": Engine,
}
"""What can be said over a plan: field of :class:`Settings` to its option, in the order of the help."""


def over_the_plan(*without: str) -> Callable[[Callable[..., Any]], Callable[..., Any]]:
    """Give a command every option over the plan, ``without`` some; it takes them as one :class:`Settings`.

    The command has a parameter ``settings``; in its place stand the options for typer to see.
    """
    taken = {name: option for name, option in _OVER_THE_PLAN.items() if name not in without}

    def give(command: Callable[..., Any]) -> Callable[..., Any]:
        own = inspect.signature(command, eval_str=True)
        parameters: list[inspect.Parameter] = []
        for each in own.parameters.values():
            if each.name == "settings":
                kind = inspect.Parameter.POSITIONAL_OR_KEYWORD
                parameters += [
                    inspect.Parameter(name, kind, default=None, annotation=option) for name, option in taken.items()
                ]
            else:
                parameters.append(each)

        @wraps(command)
        def wrapped(**named: Any) -> Any:
            settings = Settings(**{name: named.pop(name, None) for name in taken})
            return command(settings=settings, **named)

        wrapped.__signature__ = own.replace(parameters=parameters)  # type: ignore[attr-defined]
        wrapped.__annotations__ = {each.name: each.annotation for each in parameters}
        return wrapped

    return give


def examples(*lines: str, one: str | None = "nothing fits") -> str:
    """Lay out a command's epilog: commands to copy, and what the exit status says."""
    shown = "\n".join(["\b", "Examples:", *(f"  {line}" for line in lines)])
    codes = "\n".join(
        [
            "\b",
            "Exit status:",
            "  0  answered",
            *([f"  1  {one}"] if one else []),
            "  2  the input is at fault",
            "  3  stopped before the search was complete",
        ]
    )
    return f"{shown}\n\n{codes}"
