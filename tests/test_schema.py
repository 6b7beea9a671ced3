"""The JSON Schemas: nothing that the readers take is refused, and what a schema can see of a mistake it does see."""

from __future__ import annotations

import json
import re
from dataclasses import dataclass
from pathlib import Path
from typing import Any, ClassVar

import jsonschema_rs
import pytest
import yaml
from hypothesis import example, given, settings
from hypothesis import strategies as st
from jsonschema import Draft202012Validator

from kitwright.catalogs import lay_starter, plan_text
from kitwright.catalogs import schema as made
from kitwright.catalogs import schema_values as values
from kitwright.catalogs.plan_goals import BOUNDS
from kitwright.catalogs.schema import SUBJECTS, Subject, schema_text
from kitwright.solver import parts
from kitwright.solver.fields import may, specs
from kitwright.solver.parts import KINDS, Crank
from kitwright.solver.quantity import (
    LENGTH,
    MONEY,
    RATIO,
    TEMPERATURE,
    VOLUME,
    Dimension,
    Quantity,
    QuantityError,
    parse,
    parse_deck,
)
from kitwright.solver.registry import public_figures
from tests.cli_runner import SCENARIOS, run
from tests.random_catalogues import question as random_question
from tests.yaml_values import values_of

ROOT = Path(__file__).parent.parent
BROKEN = ROOT / "tests" / "broken"
CASES = sorted(each.parent for each in BROKEN.glob("*/expected.txt"))


def validator(subject: Subject) -> Draft202012Validator:
    return Draft202012Validator(json.loads(schema_text(subject)))


VALIDATORS = {subject: validator(subject) for subject in SUBJECTS}
SECOND = {subject: jsonschema_rs.Draft202012Validator(json.loads(schema_text(subject))) for subject in SUBJECTS}
"""Another implementation of the dialect, which shares no code with the first."""


def subject_of(path: Path) -> Subject:
    """A file in a catalogue's folder belongs to the catalogue; a plan lies beside one."""
    return "catalogue" if path.parent.name == "catalogue" else "plan"


def complaints(path: Path) -> list[str]:
    """What the schema has against a file."""
    return against(subject_of(path), values_of(path.read_text(encoding="utf-8")) or {})


def against(subject: Subject, data: Any) -> list[str]:
    return [f"{list(each.path)}: {each.message[:200]}" for each in VALIDATORS[subject].iter_errors(data)]


# The schemas themselves.


@pytest.mark.parametrize("subject", SUBJECTS)
def test_it_is_a_schema_of_its_dialect(subject: Subject) -> None:
    schema = json.loads(schema_text(subject))
    Draft202012Validator.check_schema(schema)
    assert schema["$schema"] == "https://json-schema.org/draft/2020-12/schema"


@pytest.mark.parametrize("subject", SUBJECTS)
def test_every_reference_leads_somewhere_and_every_definition_is_used(subject: Subject) -> None:
    text = schema_text(subject)
    named = set(re.findall(r'"\$ref": "#/\$defs/(\w+)"', text))
    assert named == set(json.loads(text)["$defs"])


@pytest.mark.parametrize("subject", SUBJECTS)
def test_every_pattern_is_one_in_python(subject: Subject) -> None:
    patterns = re.findall(r'"pattern": ("(?:[^"\\]|\\.)*")', schema_text(subject))
    assert len(patterns) > 5
    for each in patterns:
        re.compile(json.loads(each))
        assert "(?i" not in each and "(?P" not in each and r"\A" not in each, "ECMA-262 does not know it"


def test_every_kind_and_field_says_what_it_is() -> None:
    schema = json.loads(schema_text("catalogue"))
    assert list(schema["properties"]) == [cls.plural for cls in KINDS.values()]
    for kind, cls in KINDS.items():
        described = {name: each["description"] for name, each in schema["$defs"][kind]["properties"].items()}
        assert list(described) == list(specs(cls))
        for name, spec in specs(cls).items():
            assert described[name].startswith(spec.meaning)
    assert schema["$defs"]["crank"]["properties"]["stroke"]["description"] == "stroke: twice the throw; 15 to 250 mm"


def test_every_figure_and_every_key_of_a_plan_is_there() -> None:
    schema = json.loads(schema_text("plan"))["properties"]
    assert list(schema) == list(plan_text.PLAN_KEYS)
    goals = schema["goals"]["properties"]
    assert list(goals) == [*public_figures(), "rev_ceiling"]
    assert list(goals["quench"]["properties"]) == list(BOUNDS)
    for section, keys in {
        "parts": plan_text.PARTS_KEYS,
        "allow": plan_text.ALLOW_KEYS,
        "conditions": plan_text.CONDITION_KEYS,
        "reference": plan_text.REFERENCE,
    }.items():
        assert list(schema[section]["properties"]) == list(keys)


def test_a_new_field_appears_by_itself(monkeypatch: pytest.MonkeyPatch) -> None:
    @dataclass(frozen=True, slots=True)
    class Longer(Crank):
        taper: Quantity | None = may(LENGTH, 0.1, 60, "length of the taper")

    monkeypatch.setitem(parts.KINDS, "crank", Longer)
    crank = json.loads(schema_text("catalogue"))["$defs"]["crank"]["properties"]
    assert crank["taper"]["description"] == "length of the taper; 0.1 to 60 mm; absent: unknown"
    plan = json.loads(schema_text("plan"))["properties"]
    assert "taper" in plan["measured"]["items"]["properties"]
    schema = made.catalogue_schema()
    ok = {"cranks": [{"id": "k", "stroke": "57 mm", "journal": "28 mm", "taper": "30 mm"}]}
    wrong = {"cranks": [{"id": "k", "stroke": "57 mm", "journal": "28 mm", "taper": "30 g"}]}
    assert not list(Draft202012Validator(schema).iter_errors(ok))
    assert list(Draft202012Validator(schema).iter_errors(wrong))


def test_a_new_kind_appears_by_itself(monkeypatch: pytest.MonkeyPatch) -> None:
    @dataclass(frozen=True, slots=True)
    class Fan(parts.Part):
        """A cooling fan on the flywheel."""

        kind: ClassVar[str] = "fan"
        plural: ClassVar[str] = "fans"

        hub: Quantity | None = may(LENGTH, 5, 100, "bore of the hub")

    monkeypatch.setitem(parts.KINDS, "fan", Fan)
    schema = json.loads(schema_text("catalogue"))
    assert schema["properties"]["fans"]["description"] == "A cooling fan on the flywheel."
    assert schema["$defs"]["fan"]["required"] == ["id"]
    plan = json.loads(schema_text("plan"))["properties"]
    assert "fan" in plan["parts"]["properties"]["use"]["properties"]


# What is valid.

VALID = sorted(
    path for folder in (ROOT / "examples", SCENARIOS, ROOT / "catalogs" / "starter") for path in folder.rglob("*.yaml")
)


@pytest.mark.parametrize("path", VALID, ids=lambda path: str(path.relative_to(ROOT)))
def test_what_is_read_without_a_fault_is_valid(path: Path) -> None:
    assert complaints(path) == []


@pytest.mark.parametrize("path", VALID, ids=lambda path: str(path.relative_to(ROOT)))
def test_a_second_judge_agrees_on_every_example(path: Path) -> None:
    judge, data = SECOND[subject_of(path)], values_of(path.read_text(encoding="utf-8")) or {}
    assert judge.is_valid(data), [str(each) for each in judge.iter_errors(data)][:3]
    assert not judge.is_valid(data | {"no such key": 1})


def test_the_judges_agree_on_what_is_broken() -> None:
    seen = 0
    for case in CASES:
        for path in sorted(case.rglob("*.yaml")):
            try:
                data = values_of(path.read_text(encoding="utf-8")) or {}
            except (yaml.YAMLError, UnicodeDecodeError, RecursionError):
                continue
            first = against(subject_of(path), data)
            assert SECOND[subject_of(path)].is_valid(data) is (first == []), path
            seen += first != []
    assert seen > 20


def test_there_are_files_to_hold_against_them(tmp_path: Path) -> None:
    assert len([path for path in VALID if subject_of(path) == "plan"]) >= 8
    assert len([path for path in VALID if subject_of(path) == "catalogue"]) >= 12
    assert all(complaints(path) == [] for path in lay_starter(tmp_path) if path.suffix == ".yaml")


def test_the_plan_that_shows_every_setting_is_valid() -> None:
    page = (ROOT / "README.md").read_text(encoding="utf-8")
    shown = re.findall(r"^```yaml\n(.*?)^```$", page, re.M | re.S)
    assert len(shown) >= 3
    for block in shown:
        data = values_of(block)
        assert against("plan" if "catalogue" in data else "catalogue", data) == []


@pytest.mark.parametrize("seed", range(0, 60, 3))
def test_random_catalogues_as_they_are_written_are_valid(seed: int) -> None:
    from kitwright.catalogs.write import to_yaml

    catalogue, _ = random_question(seed)
    assert against("catalogue", values_of(to_yaml(catalogue))) == []


READ = """\
plan: 7
catalogue: ./catalogue
goals:
  compression: 9.5
  quench: {min: 0.70 mm, max: 2 3/4 thou, weight: "2", step: .5 thou, aim: }
  cost: {max: 250}
  rev_ceiling: {min: 7000 rpm}
parts:
  use: {block: 72, gasket: [g05, g05, g10]}
  avoid: g05
  shelf_only: Yes
  kinds: block
  optional: [retainer]
allow: {gaskets: 2, machining: mill}
tolerance:
measured:
  - {deck: 0.32 mm down ± 0.02 mm, with: {block: b, crank: k, rod: r, piston: p}, date: 1 May}
  - {mill.step: 0.05 mm, of: h22, note: by hand}
conditions: {altitude: -3 m, polytropic: 1.3, temperatures: {rod: 120 degC, air: 300 K}}
reference: {pushrod: 141.0 mm, mill: 0 mm}
units: in
"""


def test_what_is_seldom_written_is_valid_where_it_is_read() -> None:
    assert against("plan", values_of(READ)) == []


# What is broken.


def broken_yaml(case: Path) -> list[Path]:
    """YAML files of a case that are YAML at all."""
    files = []
    for path in sorted(case.rglob("*.yaml")):
        try:
            data = values_of(path.read_text(encoding="utf-8"))
        except (yaml.YAMLError, UnicodeDecodeError, ValueError, RecursionError):
            continue
        if data is not None:
            files.append(path)
    return files


def seen(case: Path) -> bool:
    return any(complaints(path) for path in broken_yaml(case))


def test_it_sees_most_mistakes_that_stand_in_yaml() -> None:
    """What it does not see lies in a value's size, between two fields, or between two files."""
    there = [case for case in CASES if broken_yaml(case)]
    found = [case for case in there if seen(case)]
    assert len(there) > 140
    assert len(found) >= 96


MUST_SEE = (
    "misspelt-field",
    "field-of-another-kind",
    "bare-number",
    "decimal-comma",
    "kind-misspelt",
    "kind-in-the-singular",
    "goal-unknown",
    "goal-bound-misspelt",
    "goal-key-with-unit",
    "goal-in-the-wrong-unit",
    "goal-with-tolerance",
    "goal-step-zero",
    "kinds-in-the-plural",
    "machining-unknown",
    "tolerance-unknown",
    "units-unknown",
    "plan-key-unknown",
    "parts-key-unknown",
    "negative-stroke",
    "negative-dish",
    "missing-field",
    "null-field",
    "no-id",
    "mill-as-one-number",
    "mill-step-missing",
    "measured-deck-without-direction",
    "measured-deck-of-three-parts",
    "measured-without-part",
    "too-many-gaskets",
    "reference-unknown-key",
    "price-negative",
    "rocker-ratio-with-unit",
    "flag-in-other-words",
    "tags-in-one-text",
)


@pytest.mark.parametrize("name", MUST_SEE)
def test_it_sees_the_mistake(name: str) -> None:
    assert seen(BROKEN / name)


# Single values: nothing that is read is refused.

NUMBERS = st.one_of(
    st.integers(0, 9999).map(str),
    st.floats(0, 9999, allow_nan=False).map(lambda value: f"{value:.3f}"),
    st.sampled_from([".5", "5.", "1e2", "2.5E-1", "2 3/4", "3/8", "2-3/4", "0"]),
)
SIGNS = st.sampled_from(["", "", "", "-", "+", "−"])
SPACES = st.sampled_from(["", " ", "  "])
UNITS = st.sampled_from(
    [
        "",
        "mm",
        "in",
        "thou",
        "µm",
        "μm",
        "cc",
        "cm³",
        "mm^2",
        "m",
        "ft",
        "g",
        "degC",
        "°C",
        "K",
        "deg",
        "N/mm",
        "kg mm2",
    ]
)
SPREADS = st.sampled_from(["", "", "±", "+/-", "+-"])


@st.composite
def written(draw: st.DrawFn) -> str:
    text = draw(SPACES) + draw(SIGNS) + draw(NUMBERS) + draw(SPACES) + draw(UNITS)
    spread = draw(SPREADS)
    if spread:
        text += draw(SPACES) + spread + draw(SPACES) + draw(NUMBERS) + draw(SPACES) + draw(UNITS)
    return text


def matches(schema: Any, text: str) -> bool:
    return Draft202012Validator(schema).is_valid(text)


@pytest.mark.parametrize("dimension", [LENGTH, VOLUME, RATIO, TEMPERATURE], ids=lambda each: each.name)
@settings(deadline=None)
@given(text=written())
def test_what_is_read_as_a_quantity_is_valid(dimension: Dimension, text: str) -> None:
    try:
        read = parse(text, dimension)
    except QuantityError:
        return
    assert matches(values.quantity(dimension), text)
    if read.exact >= 0 and dimension is not TEMPERATURE:  # whose zero is not where the unit's is
        assert matches(values.quantity(dimension, "not negative"), text)
    if read.exact > 0 and dimension is not TEMPERATURE:
        assert matches(values.quantity(dimension, "positive"), text)
    if not read.stated:
        assert matches(values.quantity(dimension, stated=False), text)


@settings(deadline=None)
@example(text="-0+/-1mm", word=" down", first=False)
@given(text=written(), word=st.sampled_from([" down", " up", ""]), first=st.booleans())
def test_what_is_read_as_a_deck_is_valid(text: str, word: str, first: bool) -> None:
    text = f"{word.strip()} {text}" if first else f"{text}{word}"
    try:
        parse_deck(text)
    except QuantityError:
        return
    assert matches(values.deck(), text)


@pytest.mark.parametrize(
    ("dimension", "text"),
    [
        (LENGTH, "57"),
        (LENGTH, "57,5 mm"),
        (LENGTH, "57 cc"),
        (LENGTH, "57 mm ± 0.05"),
        (LENGTH, "57 mm ± 0.05 cc"),
        (LENGTH, "about 57 mm"),
        (LENGTH, "57 mm ± -0.05 mm"),
        (VOLUME, "22 mm"),
        (RATIO, "9.5 mm"),
        (RATIO, "nine"),
        (MONEY, "£5"),
        (TEMPERATURE, "20 C"),
    ],
)
def test_what_is_no_quantity_is_refused(dimension: Dimension, text: str) -> None:
    with pytest.raises(QuantityError):
        parse(text, dimension)
    assert not matches(values.quantity(dimension), text)


# The command.


@pytest.mark.parametrize("subject", SUBJECTS)
def test_the_command_writes_it(subject: Subject, tmp_path: Path) -> None:
    said = run("schema", "--for", subject)
    assert said.exit_code == 0 and said.stdout == schema_text(subject) and said.stderr == ""
    target = tmp_path / "made.json"
    assert run("schema", "--for", subject, "--output", target).exit_code == 0
    assert target.read_text(encoding="utf-8") == schema_text(subject)


def test_the_catalogue_is_meant_where_nothing_is_said() -> None:
    assert run("schema").stdout == schema_text("catalogue")


def test_another_word_is_refused() -> None:
    said = run("schema", "--for", "engine")
    assert said.exit_code == 2 and said.stdout == ""
