"""A cam with its lobes' readings: the CSV, what is wrong with it, and that the readings stand before the data sheet."""

from __future__ import annotations

import math
import random
import re
from dataclasses import replace
from itertools import islice
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from kitwright.catalogs import InputError, load
from kitwright.catalogs.write import to_yaml
from kitwright.solver import check
from kitwright.solver.check import View
from kitwright.solver.combination import Combination
from kitwright.solver.curves import Curve, curve
from kitwright.solver.degree_wheel import curve_of
from kitwright.solver.fields import DurationAt, Readings
from kitwright.solver.formulas.cam_curve import LobeCurve, crossing, duration_at
from kitwright.solver.formulas.gas import effective_stroke
from kitwright.solver.formulas.volumes import circle
from kitwright.solver.notes import notes
from kitwright.solver.parts import Cam
from kitwright.solver.plan import Plan
from kitwright.solver.quantity import ANGLE, LENGTH, parse
from tests import random_motion, test_twin
from tests.cli_runner import run
from tests.random_engines import engine

SHEET = "cams:\n- {id: c7, intake_lobe_lift: 6.50 mm, exhaust_lobe_lift: 6.40 mm, intake_centreline: 104 deg, price: 9"
HEADER = "angle [deg],lift [mm]\n"
LOBE = LobeCurve(0.0065, math.radians(150), 19.8807)


def table(nose: float = 104.0, step: int = 5, lobe: LobeCurve = LOBE, unit: str = "mm") -> str:
    """Readings of a lobe from seat to seat as a builder would write them down."""
    factor, digits = {"mm": (1000.0, 2), "thou": (1000 / 0.0254, 1)}[unit]
    lines = [f"angle [deg],lift [{unit}]"]
    for place in range(-155, 156, step):
        lines.append(f"{nose + place:g},{factor * float(lobe.lift(math.radians(place))):.{digits}f}")
    return "\n".join(lines) + "\n"


def shelf(folder: Path, more: str, **tables: str) -> Path:
    (folder / "cams.yaml").write_text(f"{SHEET}{more}}}\n", encoding="utf-8")
    for name, text in tables.items():
        (folder / f"{name}.csv").write_text(text, encoding="utf-8")
    return folder


def cam_of(folder: Path) -> Cam:
    catalogue = load(folder)
    assert catalogue.warnings == ()
    cam = catalogue.get("c7")
    assert isinstance(cam, Cam)
    return cam


@pytest.mark.parametrize("unit", ["mm", "thou"])
def test_readings_are_read_with_their_last_digit(tmp_path: Path, unit: str) -> None:
    cam = cam_of(shelf(tmp_path, ", intake_readings: c7-in.csv", **{"c7-in": table(unit=unit)}))
    assert cam.intake_readings is not None
    assert cam.intake_readings.resolution == pytest.approx({"mm": 1e-5, "thou": 2.54e-6}[unit])
    curve = curve_of(cam.intake_readings)
    assert curve.peak == pytest.approx(0.0065, abs=1e-5)
    assert math.degrees(curve.nose) == pytest.approx(104.0, abs=0.1)
    assert "intake_readings: c7-in.csv" in to_yaml([cam])


def test_a_folder_of_readings_is_no_warning(tmp_path: Path) -> None:
    (tmp_path / "wheel").mkdir()
    (tmp_path / "wheel" / "in.csv").write_text(table(), encoding="utf-8")
    cam_of(shelf(tmp_path, ", intake_readings: wheel/in.csv"))


def test_a_cycle_counted_up_to_720(tmp_path: Path) -> None:
    folder = shelf(
        tmp_path, ", exhaust_readings: ex.csv", ex=table(nose=720 - 108, lobe=replace(LOBE, max_lift=0.0064))
    )
    readings = cam_of(folder).exhaust_readings
    assert readings is not None
    assert math.degrees(curve_of(readings).nose) == pytest.approx(-108.0, abs=0.1)


def of(cam: Cam) -> View:
    combination, plan = engine(2, toleranced=0.0)
    return View(replace(combination, parts={**combination.parts, "cam": cam}), plan)


def test_readings_stand_before_the_data_sheet(tmp_path: Path) -> None:
    """The sheet says another lobe: every figure is that of the lobe that was read, to what 0.01 mm allows."""
    combination, _ = engine(2, toleranced=0.0)
    sheet: Any = combination.parts["cam"]
    exact = replace(
        sheet,
        intake_lobe_lift=parse("6.50 mm", LENGTH),
        exhaust_lobe_lift=parse("6.50 mm", LENGTH),
        seat_lift=parse("0.15 mm", LENGTH),
    )
    seat = math.degrees(duration_at(LOBE, 0.00015))
    degrees = np.arange(-155, 156, 2)
    lifts = tuple(round(1e5 * float(LOBE.lift(math.radians(each)))) / 1e5 for each in degrees)
    wheel = {
        f"{valve}_readings": Readings("w.csv", tuple(np.radians(nose + degrees)), lifts, 1e-5)
        for valve, nose in (("intake", 104.0), ("exhaust", -110.0))
    }
    told = {
        f"{valve}_{name}": parse(text, ANGLE)
        for valve in ("intake", "exhaust")
        for name, text in (("duration", f"{seat:.4f} deg"),)
    }
    at = DurationAt(lift=parse("1 mm", LENGTH), duration=parse("242 deg", ANGLE))
    plain = {
        "intake_duration_at": at,
        "exhaust_duration_at": at,
        "intake_centreline": parse("104 deg", ANGLE),
        "lobe_separation": parse("107 deg", ANGLE),
    }
    as_told, as_read = of(replace(exact, **told, **plain)), of(replace(sheet, **wheel, seat_lift=exact.seat_lift))
    for name, within in (
        ("valve_lift", 0.02),
        ("piston_to_valve_intake", 0.05),
        ("piston_to_valve_exhaust", 0.05),
        ("piston_to_valve_intake_at", 2.0),
        ("dynamic_compression", 0.15),
    ):
        assert math.isfinite(as_told.value(name))
        assert as_read.value(name) == pytest.approx(as_told.value(name), abs=within), name
    assert as_read.value("float_speed") == pytest.approx(as_told.value("float_speed"), rel=0.06)
    assert of(sheet).value("valve_lift") != pytest.approx(as_told.value("valve_lift"), abs=0.05)


def test_a_lobe_that_was_read_has_no_tolerance_of_the_sheets() -> None:
    readings = random_motion._readings(random.Random(2), _some_cam())
    assert "intake_readings" in readings
    for cam, width in (({}, 0.2), (readings, 0.0)):
        toleranced = replace(_some_cam(), intake_lobe_lift=parse("6.5 mm ± 0.1 mm", LENGTH), **cam)
        low, high = View(Combination({"cam": toleranced}), Plan()).spread("valve_lift_intake", "worst_case")
        assert high - low == pytest.approx(width)


def _some_cam() -> Cam:
    return Cam(id="c", intake_lobe_lift=parse("6.5 mm", LENGTH), exhaust_lobe_lift=parse("6.4 mm", LENGTH))


def uneven(nose: float) -> Readings:
    """A lobe that opens over 130 degrees and closes over 160, as exact readings."""
    places = np.concatenate((np.arange(-130.0, 0.0, 5.0), np.arange(0.0, 161.0, 5.0)))
    flanks = LobeCurve(0.0065, math.radians(130), 19.0), LobeCurve(0.0065, math.radians(160), 19.0)
    lifts = [float(flanks[int(place >= 0)].lift(math.radians(place))) for place in places]
    lifts[0] = lifts[-1] = 0.0
    return Readings("w.csv", tuple(np.radians(nose + places)), tuple(lifts), 0.0)


def test_flanks_that_differ_move_the_events_and_the_trapped_volume() -> None:
    """Each flank crosses the seat lift where the lobe says; half of the duration either side of the nose would not."""
    combination, _ = engine(2, toleranced=0.0)
    sheet: Any = combination.parts["cam"]
    seat = parse("0.15 mm", LENGTH)
    cam = replace(sheet, intake_readings=uneven(104.0), exhaust_readings=uneven(-110.0), seat_lift=seat)
    view = of(cam)
    before = math.degrees(crossing(LobeCurve(0.0065, math.radians(130), 19.0), seat.si)[0])
    after = math.degrees(crossing(LobeCurve(0.0065, math.radians(160), 19.0), seat.si)[1])
    assert view.value("intake_opens") == pytest.approx(before - 104, abs=0.3)
    assert view.value("intake_closes") == pytest.approx(104 + after - 180, abs=0.3)
    assert view.value("exhaust_opens") == pytest.approx(110 + before - 180, abs=0.3)
    assert view.value("exhaust_closes") == pytest.approx(after - 110, abs=0.3)
    assert after - before > 20
    turned = effective_stroke(
        math.radians(104 + after), *(view.reader[leaf] for leaf in ("crank.stroke", "rod.length", "piston.pin_offset"))
    )
    swept = circle(view.reader["block.bore"]) * turned
    clearance = view.value("clearance_volume") * 1e-6
    assert view.value("dynamic_compression") == pytest.approx(1 + swept / clearance, rel=2e-3)
    seen = {each.lobe_lift: each for each in notes(check(view.combination, view.plan), view.plan).timing}
    assert seen[0.15].seat and len(seen) >= 2
    at = max(seen)
    higher = math.degrees(crossing(LobeCurve(0.0065, math.radians(160), 19.0), at / 1000)[1])
    assert seen[at].events["intake_closes"] == pytest.approx(104 + higher - 180, abs=0.3)


@pytest.mark.parametrize("valve", ["intake", "exhaust"])
def test_what_is_drawn_is_the_lobe_that_was_read(valve: str) -> None:
    combination, plan = engine(2, toleranced=0.0)
    sheet: Any = combination.parts["cam"]
    nose = {"intake": 104.0, "exhaust": -110.0}[valve]
    read = replace(sheet, **{f"{valve}_readings": uneven(nose)})
    drawn = curve(f"piston_to_valve_{valve}", replace(combination, parts={**combination.parts, "cam": read}), plan)
    plain = curve(f"piston_to_valve_{valve}", combination, plan)
    assert isinstance(drawn, Curve) and isinstance(plain, Curve)
    view = of(read)
    assert drawn.values.min() == pytest.approx(view.value(f"piston_to_valve_{valve}"), abs=1e-6)
    assert drawn.at == pytest.approx(view.value(f"piston_to_valve_{valve}_at"), abs=0.01)
    assert drawn.values.min() != pytest.approx(plain.values.min(), abs=1e-3)
    force = curve(f"spring_force_{valve}", replace(combination, parts={**combination.parts, "cam": read}), plan)
    assert isinstance(force, Curve)
    assert (force.angles[0], force.angles[-1]) == pytest.approx((-130.0, 160.0), abs=0.5)


def test_some_random_questions_have_readings_and_agree_with_the_twin() -> None:
    with_readings = (
        seed
        for seed in range(1000, 1040)
        if any(
            part.intake_readings or part.exhaust_readings
            for part in random_motion.question(seed)[0].of_kind("cam")
            if isinstance(part, Cam)
        )
    )
    first = list(islice(with_readings, 5))
    assert len(first) == 5
    for seed in first:
        assert test_twin.compare(random_motion.question, seed) == []


@pytest.mark.parametrize(
    ("more", "text", "words"),
    [
        (", intake_readings: none.csv", None, "there is no CSV file `none.csv` here; name a CSV file beside this one"),
        (", intake_readings: cams.yaml", None, "there is no CSV file `cams.yaml` here"),
        (", intake_readings: [a, b]", None, "a list was read, and the name of a file is wanted"),
        ("", "angle [deg];lift [mm]\n0;0\n", "the cells are separated by semicolons"),
        ("", "angle,lift\n0,0\n", "`0` has no unit; 0 deg?"),
        ("", "angle [mm],lift [mm]\n0,0\n", "column `angle [mm]`"),
        (
            "",
            "angle [deg],rise [mm]\n0,0\n",
            "no column `lift`; the columns are `angle [deg]` and `lift [mm]`",
        ),
        ("", table().replace("104,6.50", "104,65.0"), "a lift of 65.0 mm is more than any lobe lifts (20 mm)"),
        ("", table().replace("104,6.50", "104,-6.50"), "is negative; zero the dial on the base circle"),
        ("", table().replace("104,6.50", "104,6.50 ± 0.01"), "a reading has no ±"),
        ("", table().replace("104,6.50", "98,6.50"), "the angles do not rise: 98 deg after 99 deg"),
        ("", table(nose=20), "the intake lobe's greatest lift stands 20.0 degrees after top dead centre"),
        ("", table(nose=-108), "the intake lobe's greatest lift stands 108.0 degrees before top dead centre"),
        ("", table(step=60), "at least 7 readings"),
        (
            "",
            "angle [deg],lift [mm]\n" + "".join(f"{60 + 5 * i},{3 + i % 2}\n" for i in range(20)),
            "read on to the seat",
        ),
        ("", "angle [deg],lift [mm]\n" + "".join(f"{i / 10},0.0\n" for i in range(3000)), "more than 2000 readings"),
    ],
)
def test_readings_at_fault(tmp_path: Path, more: str, text: str | None, words: str) -> None:
    tables = {} if text is None else {"in": text}
    with pytest.raises(InputError) as raised:
        load(shelf(tmp_path, more or ", intake_readings: in.csv", **tables))
    assert words in str(raised.value)
    assert "c7" in str(raised.value) or "in.csv" in str(raised.value)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (re.sub(r"(?m)^74,.*$", "74,3.00", table()), "at 74.00 deg the lift turns back"),
        (
            table(lobe=replace(LOBE, max_lift=0.0060)),
            "the lobe reads 6.00 mm of lift, and `intake_lobe_lift` says 6.50",
        ),
        (table(nose=112.0), "the nose reads 112.0 deg after top dead centre, and `intake_centreline` says 104 deg"),
    ],
)
def test_odd_readings_are_a_warning(tmp_path: Path, text: str, words: str) -> None:
    catalogue = load(shelf(tmp_path, ", intake_readings: in.csv", **{"in": text}))
    assert any(words in warning for warning in catalogue.warnings), catalogue.warnings


def test_readings_that_no_cam_names(tmp_path: Path) -> None:
    (said,) = load(shelf(tmp_path, "", lonely=table())).warnings
    assert "lonely.csv" in said and "no part uses these readings" in said


def sheet(nose: float = 104.0, header: str = "Kurbelwinkel [deg];Messuhr (mm);Notiz") -> str:
    """The readings as a spreadsheet with decimal commas saves them."""
    rows = [line.replace(",", ";").replace(".", ",") for line in table(nose).splitlines()[1:]]
    return "\r\n".join([header, *(f"{row};" for row in rows)]) + "\r\n"


def test_a_sheet_of_ones_own_is_imported(tmp_path: Path) -> None:
    shelf(tmp_path, ", on_shelf: 1")
    wheel = tmp_path.parent / f"{tmp_path.name}-wheel.csv"
    wheel.write_text(sheet(), encoding="utf-8")
    shown = run("shelf", "import", wheel, tmp_path, "--readings", "c7.intake")
    assert shown.exit_code == 0 and sorted(each.name for each in tmp_path.iterdir()) == ["cams.yaml"]
    assert "decimal commas" in shown.stdout and "Notiz: no column of a degree wheel" in shown.stdout
    assert "The greatest lift, 6.5 mm, stands 104.0° after" in " ".join(shown.stdout.split())
    assert shown.stderr.endswith(f"kitwright shelf import {wheel} {tmp_path} --readings c7.intake --yes\n")
    assert run("shelf", "import", wheel, tmp_path, "--readings", "c7.intake", "--yes").exit_code == 0
    readings, other = cam_of(tmp_path).intake_readings, read_by_hand(tmp_path)
    assert readings is not None and readings.file == "c7-intake.csv"
    assert (readings.angles, readings.lifts, readings.resolution) == (other.angles, other.lifts, other.resolution)
    again = run("shelf", "import", wheel, tmp_path, "--readings", "c7.intake", "--yes")
    assert again.exit_code == 2 and "its intake lobe has readings already, `c7-intake.csv`" in again.stderr


def read_by_hand(folder: Path) -> Readings:
    place = folder / "by-hand"
    place.mkdir()
    shelf(place, ", intake_readings: in.csv", **{"in": table()})
    readings = cam_of(place).intake_readings
    for each in place.iterdir():
        each.unlink()
    place.rmdir()
    assert readings is not None
    return readings


def test_a_cycle_up_to_720_is_imported_for_the_exhaust(tmp_path: Path) -> None:
    (folder := tmp_path / "parts").mkdir()
    shelf(folder, "")
    (tmp_path / "wheel.csv").write_text(table(nose=720 - 108))
    done = run("shelf", "import", tmp_path / "wheel.csv", folder, "--readings", "c7.exhaust_readings", "--yes")
    assert done.exit_code == 0 and "stands 108.0° before" in " ".join(done.stdout.split())
    readings = cam_of(folder).exhaust_readings
    assert readings is not None and readings.angles[0] < 0


@pytest.mark.parametrize(
    ("text", "more", "words"),
    [
        (sheet(header="Kurbelwinkel (Grad);Hub mm;x"), [], '`gon`: `--map "Kurbelwinkel (Grad)=angle [deg]"`'),
        (sheet(header="Winkel;Hub mm;x"), [], '`--map "Winkel=angle [deg]"` says it'),
        (sheet(header="Winkel [deg];Ventilhub mm;x"), [], "`Ventilhub mm` is the valve's lift by its name"),
        (sheet(header="Winkel [deg];Wert;x"), [], 'no column is the `lift`; say which it is: `--map "Wert=lift [mm]"`'),
        (sheet(header="Winkel [deg];Hub mm;lift"), [], "columns `Hub mm` and `lift` are both `lift`"),
        (sheet(header="Winkel [deg];Hub [cc];x"), [], "`cc` is a unit of volume"),
        (sheet(nose=20), [], "the intake lobe's greatest lift stands 20.0 degrees after top dead centre"),
        (sheet().replace("6,50", "6,5x"), [], "`x` is no unit"),
        (sheet(), ["--map", "Mesuhr=lift"], "no column is called so; did you mean `Messuhr (mm)`?"),
        (sheet(), ["--kind", "cam"], "goes without `--kind` and `--note`"),
        (sheet(), ["--readings", "c8.intake"], "`c8` is no cam of the catalogue; cams: c7"),
        (sheet(), ["--readings", "c7"], "write CAM.VALVE, such as `--readings c7.intake`"),
        (sheet(), ["--readings", "c7.inlet"], "write CAM.VALVE"),
        ("", [], "the file is empty"),
    ],
)
def test_a_sheet_at_fault_is_not_imported(tmp_path: Path, text: str, more: list[str], words: str) -> None:
    (folder := tmp_path / "parts").mkdir()
    shelf(folder, "")
    (tmp_path / "wheel.csv").write_text(text)
    before = (folder / "cams.yaml").read_bytes()
    done = run("shelf", "import", tmp_path / "wheel.csv", folder, "--readings", "c7.intake", "--yes", *more)
    assert done.exit_code == 2 and words in done.stderr
    assert [each.name for each in folder.iterdir()] == ["cams.yaml"] and (folder / "cams.yaml").read_bytes() == before


def test_a_file_beside_the_cam_is_never_written_over(tmp_path: Path) -> None:
    (folder := tmp_path / "parts").mkdir()
    shelf(folder, "", **{"c7-intake": table()})
    (tmp_path / "wheel.csv").write_text(table())
    done = run("shelf", "import", tmp_path / "wheel.csv", folder, "--readings", "c7.intake", "--yes")
    assert done.exit_code == 2 and "the file is there already; move it away, or name it in the cam" in done.stderr


def test_readings_with_semicolons_are_one_fault_that_names_the_import(tmp_path: Path) -> None:
    with pytest.raises(InputError) as raised:
        load(shelf(tmp_path, ", intake_readings: in.csv", **{"in": sheet()}))
    (problem,) = raised.value.problems
    assert "`kitwright shelf import` takes it as it is" in problem.suggestion
