"""Plans: the scenarios, goals, measured values, and the command line laid over them."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kitwright.catalogs import InputError, Overrides, load, load_plan, read_plan
from kitwright.catalogs.plan_text import REFERENCE
from kitwright.solver.parts import KINDS, Crank, Head
from kitwright.solver.plan import Advice, Goal, Plan
from kitwright.solver.registry import public_figures

SCENARIOS = Path(__file__).parent / "data" / "scenarios"
NAMES = sorted(path.name for path in SCENARIOS.iterdir() if path.is_dir())

PARTS = """blocks:
- {id: b72, bore: 72 mm, block_height: 142.00 mm ± 0.10 mm, price: 20}
cranks:
- {id: k57, stroke: 57.00 mm ± 0.05 mm, journal: 30 mm, price: 20}
- {id: k61, stroke: 61.00 mm ± 0.05 mm, journal: 30 mm, counterweight_radius: 33.0 mm ± 0.4 mm, price: 20}
rods:
- {id: r85, length: 85.00 mm ± 0.05 mm, big_end: 30 mm, pin: 16 mm, price: 20}
pistons:
- {id: p280, bore: 72 mm, compression_height: 28.00 mm ± 0.05 mm, pin: 16 mm, price: 20}
gaskets:
- {id: g05, thickness: 0.5 mm, bore: 73.5 mm, price: 6}
- {id: g10, thickness: 1.0 mm, bore: 73.5 mm, price: 8}
heads:
- {id: h22, chamber: 22 cc ± 0.5 cc, chamber_area: 34 cm2, price: 20, mill: {max: 1 mm, step: 0.1 mm}}
"""


@pytest.fixture
def write(tmp_path: Path) -> Any:
    """Write a plan beside a small catalogue; returns its path."""
    (tmp_path / "catalogue").mkdir()
    (tmp_path / "catalogue" / "parts.yaml").write_text(PARTS, encoding="utf-8")

    def plan(text: str) -> Path:
        path = tmp_path / "plan.yaml"
        path.write_text("plan: small\ncatalogue: ./catalogue\n" + text, encoding="utf-8")
        return path

    return plan


def refused(path: Path, overrides: Overrides | None = None) -> str:
    with pytest.raises(InputError) as caught:
        load_plan(path, overrides)
    return str(caught.value)


# Scenarios.


@pytest.mark.parametrize("name", NAMES)
def test_scenarios_load(name: str) -> None:
    plan, catalogue = load_plan(SCENARIOS / name / "plan.yaml")
    assert plan.name == name.replace("-", " ")
    assert len(catalogue) >= 8
    assert not catalogue.warnings
    assert [part.id for part in catalogue] == [part.id for part in load(SCENARIOS / name / "catalogue")]


def test_the_scenarios_are_the_five() -> None:
    assert NAMES == [
        "compression-against-quench",
        "revs-against-lift",
        "shelf-first",
        "skirt-to-counterweight",
        "stack-not-needed",
    ]


def test_a_scenario_to_the_last_setting() -> None:
    plan, _ = load_plan(SCENARIOS / "compression-against-quench" / "plan.yaml")
    assert plan == Plan(
        name="compression against quench",
        catalogue="./catalogue",
        goals={
            "compression": Goal("compression", aim=9.0, maximum=9.0, step=0.05),
            "quench": Goal("quench", minimum=0.85, maximum=1.15, step=0.02),
        },
        shelf_only=frozenset(KINDS),
        gaskets=2,
    )


def test_the_rev_ceiling_stands_apart() -> None:
    plan, _ = load_plan(SCENARIOS / "revs-against-lift" / "plan.yaml")
    assert plan.rev_ceiling == 6500.0
    assert "rev_ceiling" not in plan.goals
    assert plan.goals["cost"] == Goal("cost", maximum=0.0, step=1.0)


# Every setting.


def test_an_empty_plan_asks_for_nothing(write: Any) -> None:
    plan, catalogue = load_plan(write(""))
    assert plan == Plan(name="small", catalogue="./catalogue")
    assert len(catalogue) == 8
    assert Path(catalogue.folder).name == "catalogue"


def test_a_plan_without_a_name_is_called_after_its_file(tmp_path: Path, write: Any) -> None:
    path = write("")
    path.write_text("catalogue: catalogue\n", encoding="utf-8")
    assert load_plan(str(path))[0].name == "plan"


def test_every_setting_arrives(write: Any) -> None:
    plan, _ = load_plan(
        write("""goals:
  compression: 10.5
  quench: {aim: 0.04 in, min: 28 thou, max: 1.10 mm, step: 0.01 mm, weight: 3}
  cost: {max: 250}
  rev_ceiling: {min: 7000 rpm}
parts:
  use: {crank: k57, gasket: [g05, g05]}
  avoid: [k61]
  shelf_only: [crank, rod]
  kinds: [block, crank, rod, piston, gasket]
  optional: [retainer, spring_shim]
allow:
  gaskets: 2
  machining: [mill, rebore]
tolerance: statistical
conditions: {altitude: 1000 ft, polytropic: 1.3, temperatures: {rod: 120 degC, air: 68 degF}}
reference: {pushrod: 141.0 mm ± 0.1 mm, gasket_stack: 1.0 mm, mill: 0 mm, pushrod_angle: 5 deg}
units: in
""")
    )
    assert plan.goals["compression"] == Goal("compression", aim=10.5, step=0.05)
    assert plan.goals["quench"] == Goal("quench", 1.016, 0.7112, 1.1, 0.01, 3)
    assert plan.rev_ceiling == 7000.0
    assert plan.use == {"crank": ("k57",), "gasket": ("g05", "g05")}
    assert (plan.avoid, plan.shelf_only) == (frozenset({"k61"}), frozenset({"crank", "rod"}))
    assert plan.kinds == frozenset({"block", "crank", "rod", "piston", "gasket"})
    assert plan.optional == frozenset({"retainer", "spring_shim"})
    assert (plan.gaskets, plan.machining) == (2, frozenset({"mill", "rebore"}))
    assert (plan.tolerance, plan.units) == ("statistical", "in")
    assert plan.conditions.altitude == pytest.approx(304.8, rel=1e-12)
    assert plan.conditions.polytropic == 1.3
    assert plan.conditions.temperatures == {"rod": pytest.approx(393.15), "air": pytest.approx(293.15)}
    assert plan.reference["pushrod"].tolerance_in("mm") == pytest.approx(0.1)
    assert set(plan.reference) == {"pushrod", "gasket_stack", "mill", "pushrod_angle"}


def test_shelf_only_is_yes_no_or_kinds(write: Any) -> None:
    assert load_plan(write("parts: {shelf_only: true}\n"))[0].shelf_only == frozenset(KINDS)
    assert load_plan(write("parts: {shelf_only: no}\n"))[0].shelf_only == frozenset()
    assert load_plan(write("parts: {shelf_only: []}\n"))[0].shelf_only == frozenset()
    assert load_plan(write("parts: {shelf_only: rod}\n"))[0].shelf_only == frozenset({"rod"})


def goal_text(unit: str) -> str:
    written = {"m_s": "m/s", "m_s2": "m/s2", "g_mm": "g*mm", "N_m": "N*m", "money": ""}
    return f"1 {written.get(unit, unit)}".strip()


def test_every_public_figure_may_be_a_goal(write: Any) -> None:
    load_plan(write(""))
    wanted = {name: goal_text(figure.unit) for name, figure in public_figures().items()}
    plan, _ = load_plan(write("goals:\n" + "".join(f"  {name}: {text}\n" for name, text in wanted.items())))
    assert set(plan.goals) == set(wanted)
    for name, goal in plan.goals.items():
        assert goal.aim == pytest.approx(1.0, rel=1e-12)
        assert goal.step == public_figures()[name].step > 0


def test_every_figure_with_its_unit_in_the_key_is_put_right(write: Any) -> None:
    load_plan(write(""))
    for figure in public_figures().values():
        if figure.key != figure.name:
            said = refused(write(f"goals: {{{figure.key}: 1}}\n"))
            assert f"the goal key is `{figure.name}`" in said


@pytest.mark.parametrize("name", sorted(REFERENCE))
def test_every_reference_value_is_read(write: Any, name: str) -> None:
    others = {"pushrod_angle": "5 deg", "balance_factor": "0.55 ± 0.02"}
    text = others.get(name, "412 g ± 1 g" if name.endswith("_mass") else "20 mm")
    plan, _ = load_plan(write(f"reference: {{{name}: {text}}}\n"))
    assert str(plan.reference[name]) == text


def test_ranges_of_the_builders_own(write: Any) -> None:
    text = "advice:\n  compression:\n    pump petrol: {min: 8.5, max: 9.25}\n    race fuel: {min: 11}\n"
    text += "  cranking_gauge_pressure: {rope start: {max: 10 bar}}\n  quench: {}\n  rod_ratio:\n"
    own = load_plan(write(text))[0].advice
    assert own["compression"] == (
        Advice("compression", "pump petrol", 8.5, 9.25),
        Advice("compression", "race fuel", 11.0, None),
    )
    (rope,) = own["cranking_gauge_pressure"]
    assert (rope.minimum, rope.maximum, rope.own) == (None, pytest.approx(1000.0), True)
    assert own["quench"] == own["rod_ratio"] == ()
    assert load_plan(write(""))[0].advice == {}


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("advice: 9.5", "`9.5` was read, and a mapping is wanted"),
        ("advice: {compresion: {pump: {min: 9}}}", "`compresion` is no figure; did you mean `compression`?"),
        ("advice: {compression: 9.5}", "`9.5` was read, and a mapping of words to a range is wanted"),
        ("advice: {compression: {pump petrol: 9.5}}", "`9.5` was read, and a range is wanted"),
        ("advice: {compression: {pump petrol: {aim: 9.5}}}", "`aim` is no part of a range"),
        ("advice: {compression: {pump petrol: {}}}", "the range says nothing"),
        ("advice: {compression: {pump petrol: {min: 9, max: 8}}}", "min 9 is above max 8"),
        ("advice: {compression: {pump petrol: {min: 9 mm}}}", "9 mm"),
        ("advice: {cranking_pressure: {rope: {max: 165}}}", "`165` has no unit"),
        ("advice: {compression: {'': {min: 9}}}", "1 to 80 characters"),
    ],
)
def test_ranges_that_cannot_be_read(write: Any, text: str, message: str) -> None:
    said = refused(write(text + "\n"))
    assert message in said
    assert "advice" in said


@pytest.mark.parametrize("text", ["-500 m", "0 m", "9 km", "9000 m", "29000 ft"])
def test_altitudes_of_the_earth(write: Any, text: str) -> None:
    altitude = load_plan(write(f"conditions: {{altitude: {text}}}\n"))[0].conditions.altitude
    assert -500 <= altitude <= 9000


@pytest.mark.parametrize(
    "text",
    [
        "altitude: 300 m ± 50 m",
        "polytropic: 1.25 ± 0.05",
        "float_margin: 1.1 +/- 0.1",
        "peak_pressure: 5.8 MPa ± 0.5 MPa",
        "rope_radius: 35 ± 2 mm",
        "temperatures: {rod: 120 degC ± 10 K}",
        "temperatures: {rod: 120 degC ± 10 degC}",
    ],
)
def test_a_condition_has_no_tolerance(write: Any, text: str) -> None:
    """It would enter no spread, and a limit would hold at worst case that does not."""
    said = refused(write(f"conditions: {{{text}}}\n"))
    name = text.partition(":")[0] + (".rod" if "rod:" in text else "")
    assert f"`conditions.{name}`" in said
    assert "a condition has no ±; write the value alone" in said


def test_an_altitude_beyond_the_air_is_not_told_twice(write: Any) -> None:
    assert "(-500 m to 9000 m); check the number and the unit" in refused(write("conditions: {altitude: 10000 m}\n"))
    assert "(-500 m to 9000 m); it is 10668 m" in refused(write("conditions: {altitude: 35000 ft}\n"))


# Measured.


def test_a_measured_field_replaces_value_and_tolerance(write: Any) -> None:
    path = write("""measured:
- {counterweight_radius: 33.0 mm ± 0.02 mm, of: k61, date: 2024-05-01,
   instrument: calliper, note: twice, was: 33 mm}
- {counterweight_radius: 32.0 mm, of: k57}
- {mill.max: 0.4 mm, of: h22}
""")
    plan, catalogue = load_plan(path)
    k61, k57, head = (catalogue.get(each) for each in ("k61", "k57", "h22"))
    assert isinstance(k61, Crank)
    assert isinstance(k57, Crank)
    assert isinstance(head, Head)
    assert k61.counterweight_radius is not None
    assert k61.counterweight_radius.tolerance_in("mm") == pytest.approx(0.02)
    assert str(k61.counterweight_radius.origin) == f"{path}:4"
    assert k57.counterweight_radius is not None
    assert not k57.counterweight_radius.stated
    assert head.mill is not None
    assert len(head.mill.amounts()) == 5
    assert [(each.part, each.field, str(each.value)) for each in plan.measured_fields] == [
        ("k61", "counterweight_radius", "33.0 mm ± 0.02 mm"),
        ("k57", "counterweight_radius", "32.0 mm"),
        ("h22", "mill.max", "0.4 mm"),
    ]


def test_a_measured_deck_keeps_its_direction_and_its_parts(write: Any) -> None:
    text = """measured:
- {deck: 0.42 mm down ± 0.02 mm, with: {piston: p280, rod: r85, crank: k57, block: b72}}
"""
    plan, catalogue = load_plan(write(text))
    (deck,) = plan.measured_decks
    assert (deck.deck.to("mm"), deck.deck.tolerance_in("mm")) == (0.42, pytest.approx(0.02))
    assert deck.parts == {"block": "b72", "crank": "k57", "rod": "r85", "piston": "p280"}
    assert not catalogue.warnings


@pytest.mark.parametrize(("text", "value"), [("0.10 mm up", -0.1), ("0 mm", 0.0), ("0.1 mm down", 0.1)])
def test_up_is_proud_and_down_is_below(write: Any, text: str, value: float) -> None:
    plan, _ = load_plan(
        write(f"measured:\n- {{deck: {text}, with: {{block: b72, crank: k57, rod: r85, piston: p280}}}}\n")
    )
    assert plan.measured_decks[0].deck.to("mm") == value


def test_a_deck_far_from_its_prediction_is_doubted_and_used(write: Any) -> None:
    plan, catalogue = load_plan(
        write("measured:\n- {deck: 0.95 mm down, with: {block: b72, crank: k57, rod: r85, piston: p280}}\n")
    )
    (warning,) = catalogue.warnings
    assert "predicted 0.5 mm down ± 0.225 mm, measured 0.95 mm down; another rod, or a loose bearing?" in warning
    assert "plan.yaml:4: " in warning
    assert plan.measured_decks[0].deck.to("mm") == 0.95


def test_a_field_far_from_the_catalogue_is_doubted_and_used(write: Any) -> None:
    _, catalogue = load_plan(write("measured:\n- {chamber: 24.0 cc ± 0.2 cc, of: h22}\n"))
    (warning,) = catalogue.warnings
    assert "part `h22`, field `chamber`: measured 24.0 cc ± 0.2 cc, and the catalogue says 22 cc ± 0.5 cc" in warning
    head = catalogue.get("h22")
    assert isinstance(head, Head)
    assert head.chamber.to("cc") == 24.0


def test_the_catalogue_itself_is_not_changed(write: Any) -> None:
    path = write("measured:\n- {chamber: 22.2 cc, of: h22}\n")
    load_plan(path)
    head = load(path.parent / "catalogue").get("h22")
    assert isinstance(head, Head)
    assert head.chamber.to("cc") == 22.0


# The command line.


def test_an_override_replaces_only_its_own_bound(write: Any) -> None:
    path = write("goals: {quench: {min: 0.9 mm, max: 1.1 mm, weight: 2}, compression: 9.5}\n")
    given = Overrides(minimum=["quench=0.7mm", "compression=9"], aim=["deck = 0.1 mm"], step=["quench=0.01 mm"])
    plan, _ = load_plan(path, given)
    assert plan.goals["quench"] == Goal("quench", None, 0.7, 1.1, 0.01, 2)
    assert plan.goals["compression"] == Goal("compression", aim=9.5, minimum=9.0)
    assert plan.goals["deck"] == Goal("deck", aim=0.1, step=0.02)


def test_every_setting_can_be_given_on_the_command_line(write: Any) -> None:
    path = write("parts: {use: {crank: k61}, avoid: g10, kinds: [head]}\nallow: {machining: [mill]}\n")
    given = Overrides(
        maximum=["cost=250"],
        minimum=["rev_ceiling=7000rpm"],
        weight=["cost=2"],
        aim=["cost=0"],
        use=["crank=k57", "gasket=g05", "gasket=g05"],
        avoid=["k61"],
        kinds=["block,crank", "rod"],
        optional=["retainer"],
        machining=["rebore, relieve"],
        shelf_only=True,
        gaskets=2,
        tolerance="worst_case",
        units="in",
    )
    plan, _ = load_plan(path, given)
    assert plan.goals == {"cost": Goal("cost", aim=0.0, maximum=250.0, step=1.0, weight=2)}
    assert plan.rev_ceiling == 7000.0
    assert plan.use == {"crank": ("k57",), "gasket": ("g05", "g05")}
    assert plan.avoid == frozenset({"g10", "k61"})
    assert plan.kinds == frozenset({"block", "crank", "rod"})
    assert plan.optional == frozenset({"retainer"})
    assert plan.machining == frozenset({"rebore", "relieve"})
    assert plan.shelf_only == frozenset(KINDS)
    assert (plan.gaskets, plan.tolerance, plan.units) == (2, "worst_case", "in")


def test_no_overrides_change_nothing(write: Any) -> None:
    path = write("goals: {quench: {min: 0.9 mm}, rev_ceiling: 6000 rpm}\nparts: {shelf_only: true}\n")
    assert load_plan(path, Overrides()) == load_plan(path)
    assert load_plan(path, Overrides(shelf_only=False))[0].shelf_only == frozenset()
    assert load_plan(path, Overrides(shelf_only=["rod,piston"]))[0].shelf_only == frozenset({"rod", "piston"})
    assert load_plan(path, Overrides(minimum=["rev_ceiling=7000 rpm"]))[0].rev_ceiling == 7000.0


def test_an_override_mends_what_the_plan_has_wrong(write: Any) -> None:
    path = write("goals: {quench: {min: 0.9}}\n")
    assert "has no unit" in refused(path)
    assert load_plan(path, Overrides(minimum=["quench=0.9 mm"]))[0].goals["quench"].minimum == 0.9


@pytest.mark.parametrize(
    ("given", "expected"),
    [
        (
            Overrides(minimum=["quench=0.7"]),
            "--min quench=0.7: `goals.quench.min`: `0.7` has no unit; 0.7 mm",
        ),
        (Overrides(minimum=["quench"]), "--min quench: `quench` is not of the form FIGURE=VALUE"),
        (Overrides(aim=["=5"]), "--aim =5: `=5` is not of the form FIGURE=VALUE"),
        (
            Overrides(aim=["compresion=9"]),
            "--aim compresion=9: `goals.compresion`: `compresion` is no figure",
        ),
        (
            Overrides(maximum=["quench_mm=1"]),
            "--max quench_mm=1: `goals.quench_mm`: `quench_mm` is no figure; the goal",
        ),
        (
            Overrides(maximum=["quench=0.5 mm"]),
            "--max quench=0.5 mm: `goals.quench`: min 0.9 mm is above max 0.5 mm",
        ),
        (
            Overrides(aim=["quench=0.5 mm"]),
            "--aim quench=0.5 mm: `goals.quench`: the aim 0.5 mm is below min 0.9 mm",
        ),
        (
            Overrides(minimum=["compression=9.9"]),
            "--min compression=9.9: `goals.compression`: the aim 9.5 is below min 9.9",
        ),
        (Overrides(weight=["quench=two"]), "--weight quench=two: `goals.quench.weight`: `two` is no weight"),
        (
            Overrides(step=["quench=-1 mm"]),
            "--step quench=-1 mm: `goals.quench.step`: the step `-1 mm` is not above 0",
        ),
        (
            Overrides(aim=["rev_ceiling=7000 rpm"]),
            "--aim rev_ceiling=7000 rpm: `goals.rev_ceiling`: `aim`: the rev",
        ),
        (Overrides(use=["crank"]), "--use crank: `crank` is not of the form KIND=ID; write `--use KIND=ID`"),
        (
            Overrides(use=["cranks=k57"]),
            "--use cranks=k57: `parts.use.cranks`: `cranks` is no kind of part; did you mean `cr",
        ),
        (Overrides(use=["crank=k99"]), "--use crank=k99: `parts.use.crank`: the catalogue"),
        (
            Overrides(use=["crank=k57", "crank=k61"]),
            "--use crank=k61: `parts.use.crank`: `k57` and `k61`: an engine takes",
        ),
        (
            Overrides(use=["gasket=g05"] * 2),
            "--use gasket=g05: `parts.use.gasket`: 2 gaskets are pinned, and a stack may",
        ),
        (
            Overrides(use=["gasket=g05"] * 3, gaskets=2),
            "--gaskets 2: `parts.use.gasket`: 3 gaskets are pinned",
        ),
        (Overrides(avoid=["zzz"]), "--avoid zzz: `parts.avoid`: the catalogue"),
        (Overrides(avoid=["b72"]), "--avoid b72: `parts.avoid`: `b72` is to be avoided and used"),
        (
            Overrides(kinds=["rods,piston"]),
            "--kinds rods,piston: `parts.kinds`: `rods` is no kind of part; did you mean `rod`",
        ),
        (
            Overrides(optional=["x"]),
            "--optional x: `parts.optional`: `x` is no kind of part; kinds: block, crank",
        ),
        (Overrides(machining=["mil"]), "--machining mil: `allow.machining`: `mil` is no machining operation"),
        (Overrides(shelf_only=["x"]), "--shelf-only x: `parts.shelf_only`: `x` is no kind of part"),
        (Overrides(gaskets=5), "--gaskets 5: `allow.gaskets`: `gaskets` is impossible: 5; 1 to 4"),
        (Overrides(gaskets=-1), "--gaskets -1: `allow.gaskets`: `gaskets` cannot be negative: -1"),
        (Overrides(tolerance="worst"), "--tolerance worst: `tolerance`: `worst` is no choice"),
        (Overrides(units="cm"), "--units cm: `units`: `cm` is no choice for `units`"),
        (Overrides(avoid=["a\x1b[31m"]), "--avoid a\\x1b[31m"),
    ],
    ids=lambda each: each.split(":")[0] if isinstance(each, str) else "",
)
def test_a_message_names_the_option(write: Any, given: Overrides, expected: str) -> None:
    said = refused(write("goals: {quench: {min: 0.9 mm}, compression: 9.5}\nparts: {use: {block: b72}}\n"), given)
    assert expected in said
    assert "plan.yaml:0" not in said


def test_faults_of_plan_command_line_and_catalogue_come_together(write: Any) -> None:
    path = write("goals: {quench: {min: 0.9}}\n")
    (path.parent / "catalogue" / "more.yaml").write_text("cranks:\n- {id: k99, stroke: 5 mm}\n", encoding="utf-8")
    said = refused(path, Overrides(kinds=["wheel"]))
    for fragment in (
        "plan.yaml:3: ",
        "--kinds wheel: ",
        "more.yaml:2: part `k99`, field `stroke`",
        "field `journal`",
    ):
        assert fragment in said


def test_a_plan_can_be_read_without_its_catalogue(write: Any) -> None:
    path = write("goals: {quench: {min: 0.9 mm}}\n")
    draft = read_plan(path)
    assert draft.folder == path.parent / "catalogue"
    assert draft.plan.goals["quench"].minimum == 0.9
    assert not draft.problems


def test_a_missing_plan_is_named(tmp_path: Path) -> None:
    assert (
        refused(tmp_path / "plan.yaml")
        == f"{tmp_path / 'plan.yaml'}: does not exist, and a file is wanted; check the path"
    )
    assert "is a folder" in refused(tmp_path)


@given(
    key=st.sampled_from(
        ["goals", "parts", "allow", "measured", "conditions", "reference", "tolerance", "units", "plan"]
    ),
    value=st.recursive(
        st.text("ab1.:-± m", max_size=6),
        lambda inner: (
            st.lists(inner, max_size=2)
            | st.dictionaries(
                st.sampled_from(["quench", "min", "use", "crank", "deck", "of", "with", "gaskets"]),
                inner,
                max_size=3,
            )
        ),
        max_leaves=6,
    ),
)
def test_any_section_is_read_or_refused(tmp_path_factory: pytest.TempPathFactory, key: str, value: object) -> None:
    import json

    folder = tmp_path_factory.mktemp("any")
    path = folder / "plan.yaml"
    path.write_text(f"catalogue: c\n{key}: {json.dumps(value, ensure_ascii=False)}\n", encoding="utf-8")
    draft = read_plan(path)
    assert all(problem.line in (0, 1, 2) for problem in draft.problems)
    assert isinstance(draft.plan, Plan)
