"""``kitwright schema``: what an editor needs to complete and check while a catalogue or a plan is typed."""

from __future__ import annotations

from enum import StrEnum
from typing import Annotated

import typer

from kitwright.cli import options
from kitwright.cli.output import Status, check_target, deliver, guarded

EPILOG = options.examples(
    "kitwright schema --output catalogue.schema.json",
    "kitwright schema --for plan --output plan.schema.json",
    one=None,
)


class Subject(StrEnum):
    """What the schema is of."""

    CATALOGUE = "catalogue"
    PLAN = "plan"


@guarded
def schema(
    subject: Annotated[
        Subject, typer.Option("--for", help="A YAML file of the catalogue, or a plan.")
    ] = Subject.CATALOGUE,
    output: options.OutputOption = None,
) -> Status:
    """Write the JSON Schema of the catalogue's YAML files, or of a plan, for editors.

    An editor with a YAML language server reads it where the file's first line is
    `# yaml-language-server: $schema=` and the schema's path; `kitwright start` writes both.
    """
    check_target(output)
    from kitwright.catalogs.schema import schema_text

    deliver(schema_text(subject.value), output)
    return Status.ANSWERED
