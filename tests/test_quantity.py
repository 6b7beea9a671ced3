"""Quantities: every common unit against pint, what is read, what is refused and how it is said."""

from __future__ import annotations

import math
from fractions import Fraction
from typing import Any

import pint
import pytest
from hypothesis import assume, example, given, settings
from hypothesis import strategies as st

from kitwright.solver.quantity import (
    ACCELERATION,
    ANGLE,
    AREA,
    BARE,
    COMMON_UNITS,
    COUNT,
    FORCE,
    FREQUENCY,
    INERTIA,
    LENGTH,
    LONGEST_TEXT,
    MASS,
    MOMENT,
    MONEY,
    PRESSURE,
    RATIO,
    ROTATION,
    SPEED,
    STIFFNESS,
    TEMPERATURE,
    VOLUME,
    Dimension,
    Origin,
    QuantityError,
    parse,
    parse_deck,
    plain,
    unit_factor,
    would_be,
)

DIMENSIONS = (
    ACCELERATION,
    ANGLE,
    AREA,
    COUNT,
    FORCE,
    FREQUENCY,
    INERTIA,
    LENGTH,
    MASS,
    MOMENT,
    MONEY,
    PRESSURE,
    RATIO,
    ROTATION,
    SPEED,
    STIFFNESS,
    TEMPERATURE,
    VOLUME,
)

REGISTRY = pint.UnitRegistry()
PINT_NAMES = {
    "mm2": "mm**2",
    "cm2": "cm**2",
    "in2": "in**2",
    "cm3": "cm**3",
    "mm3": "mm**3",
    "in3": "in**3",
    "kg*mm2": "kg*mm**2",
    "g*cm2": "g*cm**2",
    "kg*m2": "kg*m**2",
    "m/s2": "m/s**2",
}
"""How pint writes a power; every other common unit has the same name there."""


def refusal(text: str, dimension: Dimension) -> QuantityError:
    with pytest.raises(QuantityError) as caught:
        parse(text, dimension)
    return caught.value


# Units.


@pytest.mark.parametrize("unit", COMMON_UNITS)
def test_common_units_agree_with_pint(unit: str) -> None:
    dimension, factor = COMMON_UNITS[unit]
    expected = REGISTRY.Quantity(1.0, PINT_NAMES.get(unit, unit)).to(dimension.si).magnitude
    assert float(factor) == pytest.approx(expected, rel=1e-15)


@given(st.sampled_from(sorted(COMMON_UNITS)), st.decimals(-100_000, 100_000, places=4))
@settings(max_examples=300, deadline=None)
def test_numbers_with_common_units_agree_with_pint(unit: str, number: Any) -> None:
    dimension, _ = COMMON_UNITS[unit]
    expected = REGISTRY.Quantity(float(number), PINT_NAMES.get(unit, unit)).to(dimension.si).magnitude
    assert parse(f"{number} {unit}", dimension).si == pytest.approx(expected, rel=1e-14, abs=1e-300)


@pytest.mark.parametrize(
    ("text", "dimension", "si"),
    [
        ("2 ft", LENGTH, 0.6096),
        ("3 yd", LENGTH, 2.7432),
        ("1.5 inches", LENGTH, 0.0381),
        ("4 dm", LENGTH, 0.4),
        ("2 l", VOLUME, 0.002),
        ("1 ft^3", VOLUME, 0.028316846592),
        ("2 stone", MASS, 12.70058636),
        ("1 kgf", FORCE, 9.80665),
        ("3 turn/s", ROTATION, 6 * math.pi),
        ("90 degree", ANGLE, math.pi / 2),
        ("20 kgf/cm", STIFFNESS, 19613.3),
        ("1 atm", PRESSURE, 101325.0),
        ("100 psi", PRESSURE, 689475.729317),
        ("36 km/h", SPEED, 10.0),
        ("1 g_0", ACCELERATION, 9.80665),
        ("2 kHz", FREQUENCY, 2000.0),
        ("10 oz*in", MOMENT, 10 * 0.028349523125 * 0.0254),
        ("1 lb*in**2", INERTIA, 0.45359237 * 0.0254**2),
    ],
)
def test_every_unit_of_the_right_dimension_is_read(text: str, dimension: Dimension, si: float) -> None:
    """Values: NIST SP 811 (2008), appendix B.8, and definitions."""
    assert parse(text, dimension).si == pytest.approx(si, rel=1e-11)


@pytest.mark.parametrize(
    ("unit", "rpm"),
    [
        ("rpm", 1.0),
        ("krpm", 1000.0),
        ("rps", 60.0),
        ("turn/s", 60.0),
        ("cycles/min", 1.0),
        ("revolution/minute", 1.0),
        ("rad/s", 30 / math.pi),
        ("deg/s", 1 / 6),
    ],
)
def test_a_turn_is_two_pi_in_every_unit_of_rotation(unit: str, rpm: float) -> None:
    """One turn is 2π rad, 360 degrees: NIST SP 811 (2008), table 6 and appendix B.8 (revolution)."""
    assert parse(f"150 {unit}", ROTATION).to("rpm") == pytest.approx(150 * rpm, rel=1e-12)
    assert "one turn a second is 60 rpm, or 1 Hz" in refusal(f"150 {unit}", FREQUENCY).suggestion


@pytest.mark.parametrize("unit", ["Hz", "hertz", "kHz", "mHz", "s**-1"])
def test_so_many_a_second_are_no_radians(unit: str) -> None:
    """Hz and rad/s have the same dimension, and differ by 2π: whether turns or radians were meant is not known."""
    error = refusal(f"0.15 {unit}", ROTATION)
    assert "rotational speed" in error.problem
    assert error.suggestion == "write it in rpm; one turn a second is 60 rpm, or 1 Hz"
    assert parse(f"0.15 {unit}", FREQUENCY).si == pytest.approx(0.15 * {"kHz": 1e3, "mHz": 1e-3}.get(unit, 1.0))


@pytest.mark.parametrize("unit", ["count/min", "count/s", "cps", "Bq", "baud", "bit/s", "sr/s", "rad/s/rad"])
def test_what_counts_something_else_is_no_rotation(unit: str) -> None:
    assert refusal(f"9000 {unit}", ROTATION).suggestion.startswith("write it in rpm")


@pytest.mark.parametrize("text", ["240 count", "240 percent", "240 bit", "3 sr", "9000 1/min", "9000 1/s"])
def test_a_bare_number_in_disguise_is_neither_angle_nor_speed(text: str) -> None:
    assert refusal(text, ANGLE).suggestion
    assert refusal(text, ROTATION).suggestion


def test_the_inch_is_exact() -> None:
    """25.4 mm, exact since 1959: NIST SP 811 (2008), appendix B.6 (and B.8, inch to millimetre)."""
    assert unit_factor("in", LENGTH) == Fraction(254, 10_000)
    assert parse("1 in", LENGTH).exact == parse("25.4 mm", LENGTH).exact == Fraction(127, 5000)
    assert parse("2.244 in", LENGTH).to("mm") == 56.9976
    assert parse("1 in3", VOLUME).exact == Fraction(16_387_064, 10**12)
    assert parse("2.7559 in", LENGTH).exact != parse("70 mm", LENGTH).exact


@given(st.integers(0, 10_000_000))
def test_tenths_of_a_micron_are_whole_whether_in_mm_or_in_thou(tenths: int) -> None:
    """The same length in every unit is the same rational number."""
    length = Fraction(tenths, 10**7)
    millimetres = parse(f"{tenths // 10_000}.{tenths % 10_000:04} mm", LENGTH)
    assert millimetres.exact == length
    thou = parse(f"{tenths // 10_000}.{tenths % 10_000:04} thou", LENGTH)
    assert thou.exact == length * Fraction(254, 10_000)
    assert parse(f"{tenths}e-4 mm", LENGTH).exact == length


@pytest.mark.parametrize("dimension", DIMENSIONS, ids=lambda each: each.name)
def test_the_likely_units_are_units(dimension: Dimension) -> None:
    if dimension in BARE:
        assert dimension.likely == ()
        return
    assert dimension.likely
    for unit in dimension.likely:
        assert parse(f"20 {unit}", dimension).si > 0


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ("2 cm³", "2 cm3"),
        ("7 in²", "7 in2"),
        ("5 μm", "5 µm"),
        ("5 um", "5 µm"),
        ("2 in³", "2 in3"),
        ("2 kg·mm2", "2 kg*mm2"),
        ("2 kg mm2", "2 kg*mm2"),
        ("2 lbf / in", "2 lbf/in"),
    ],
)
def test_spellings_of_one_unit(one: str, other: str) -> None:
    dimension = next(each for each in (VOLUME, AREA, LENGTH, INERTIA, STIFFNESS) if _reads(one, each))
    assert parse(one, dimension).exact == parse(other, dimension).exact


def _reads(text: str, dimension: Dimension) -> bool:
    try:
        parse(text, dimension)
    except QuantityError:
        return False
    return True


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ("2 cm^3", "2 cc"),
        ("2 cm**3", "2 ml"),
        ("3 inches", "3 in"),
        ("1 cubic_inch", "1 in3"),
        ("2 centimetre", "2 cm"),
    ],
)
def test_other_spellings_are_the_same_to_the_last_digits(one: str, other: str) -> None:
    dimension = next(each for each in (VOLUME, LENGTH) if _reads(one, each))
    assert parse(one, dimension).si == pytest.approx(parse(other, dimension).si, rel=1e-14)


@pytest.mark.parametrize(
    ("text", "kelvin"),
    [("20 degC", 293.15), ("20 °C", 293.15), ("68 degF", 293.15), ("293.15 K", 293.15), ("-40 degF", 233.15)],
)
def test_temperatures_have_their_zero(text: str, kelvin: float) -> None:
    assert parse(text, TEMPERATURE).si == pytest.approx(kelvin, rel=1e-14)


@pytest.mark.parametrize("text", ["20 degC ± 5 mm", "20 mm ± 5 degC", "20 ± 5 mm"])
def test_both_sides_of_a_temperature_are_temperatures(text: str) -> None:
    with pytest.raises(QuantityError, match="`mm` is no unit of temperature; write it in degC, degF or K"):
        parse(text, TEMPERATURE)


def test_a_tolerance_of_a_temperature_has_no_zero() -> None:
    assert parse("20 degC ± 5 degC", TEMPERATURE).tolerance == pytest.approx(5)
    assert parse("68 degF ± 9 degF", TEMPERATURE).tolerance == pytest.approx(5)


# What is read.


@pytest.mark.parametrize(
    ("text", "inches"),
    [
        ("2 3/4 in", Fraction(11, 4)),
        ("2-3/4 in", Fraction(11, 4)),
        ("3/4 in", Fraction(3, 4)),
        ("1 1/64 in", Fraction(65, 64)),
        ("-2 3/4 in", Fraction(-11, 4)),
        (".5 in", Fraction(1, 2)),
        ("5. in", Fraction(5)),
        ("+1 in", Fraction(1)),
        ("1e-1 in", Fraction(1, 10)),
        ("10 thou", Fraction(1, 100)),
        ("2.244in", Fraction(2244, 1000)),
        ("  7   in  ", Fraction(7)),
    ],
)
def test_numbers_as_the_bench_writes_them(text: str, inches: Fraction) -> None:
    assert parse(text, LENGTH).exact == inches * Fraction(254, 10_000)


@given(st.integers(0, 300), st.integers(0, 400), st.integers(1, 400))
def test_mixed_fractions(whole: int, over: int, under: int) -> None:
    assert parse(f"{whole} {over}/{under} in", LENGTH).exact == (whole + Fraction(over, under)) * Fraction(127, 5000)


@pytest.mark.parametrize(
    ("text", "tolerance", "unit"),
    [
        ("0.50 mm ± 0.05 mm", 0.05, "mm"),
        ("0.50 mm +/- 0.05 mm", 0.05, "mm"),
        ("0.50 mm +- 0.05 mm", 0.05, "mm"),
        ("0.50±0.05 mm", 0.05, "mm"),
        ("0.50 ± 0.05 mm", 0.05, "mm"),
        ("0.50 mm ± 2 thou", 2, "thou"),
        ("1/2 in ± 1/64 in", 1 / 64, "in"),
        ("0.5 mm ± 0 mm", 0.0, "mm"),
    ],
)
def test_tolerances(text: str, tolerance: float, unit: str) -> None:
    found = parse(text, LENGTH)
    assert found.stated
    assert found.tolerance_in(unit) == pytest.approx(tolerance, rel=1e-14)


def test_a_dimension_without_a_tolerance_is_exact() -> None:
    found = parse("57 mm", LENGTH)
    assert (found.tolerance, found.stated) == (0.0, False)


def test_what_was_written_and_where_is_kept() -> None:
    found = parse(" 57 mm ", LENGTH, Origin("cranks.csv", 3))
    assert str(found) == "57 mm"
    assert str(found.origin) == "cranks.csv:3"


@pytest.mark.parametrize("dimension", BARE, ids=lambda each: each.name)
def test_money_and_ratios_are_bare(dimension: Dimension) -> None:
    assert parse("1.25", dimension).si == 1.25
    assert parse("1.25 ± 0.05", dimension).tolerance == 0.05
    assert "bare number" in refusal("1.25 mm", dimension).problem
    assert "bare number" in str(refusal("12 EUR", dimension))


@pytest.mark.parametrize(
    ("text", "mm"),
    [
        ("0.32 mm down", 0.32),
        ("0.32 mm up", -0.32),
        ("0.32 mm down ± 0.02 mm", 0.32),
        ("0.32 mm up ± 0.02 mm", -0.32),
        ("down 0.32 mm", 0.32),
        ("0.32 ± 0.02 mm down", 0.32),
        ("0 mm", 0.0),
        ("12 thou up", -0.3048),
    ],
)
def test_decks_are_said_with_a_word(text: str, mm: float) -> None:
    found = parse_deck(text)
    assert found.to("mm") == pytest.approx(mm, abs=1e-15)
    assert found.tolerance_in("mm") == pytest.approx(0.02 if "±" in text else 0.0)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("0.32 mm", "does not say which way"),
        ("-0.32 mm", "does not say which way"),
        ("-0.32 mm down", "both a sign and a word"),
        ("0.32 mm down up", "both or twice"),
        ("0.32 down", "has no unit"),
        ("0.32 mm downwards", "`mm downwards` is no unit"),
        ("", "``"),
    ],
)
def test_decks_that_are_refused(text: str, said: str) -> None:
    with pytest.raises(QuantityError) as caught:
        parse_deck(text)
    assert said in str(caught.value)


def test_a_deck_without_its_word_is_offered_both() -> None:
    with pytest.raises(QuantityError) as caught:
        parse_deck("-0.32 mm")
    assert "`0.32 mm down`" in caught.value.suggestion
    assert "`0.32 mm up`" in caught.value.suggestion


# What is refused.


@pytest.mark.parametrize(
    ("text", "dimension", "problem", "suggestion"),
    [
        ("57", LENGTH, "`57` has no unit", "57 mm, 57 in = 1447.8 mm, or 57 thou = 1.4478 mm?"),
        ("57 ± 0.1", LENGTH, "`57 ± 0.1` has no unit", "57 mm"),
        ("23", VOLUME, "`23` has no unit", "23 cc"),
        ("7000", ROTATION, "`7000` has no unit", "7000 rpm?"),
        ("57 mm ± 0.1", LENGTH, "the tolerance in `57 mm ± 0.1` has no unit", "± 0.1 mm?"),
        ("57 mm ± -0.1 mm", LENGTH, "is negative", "written once"),
        ("57 mm ± 0.1 mm ± 0.2 mm", LENGTH, "more than one ±", ""),
        ("57 cc", LENGTH, "`cc` is a unit of volume, and a length is wanted", "mm, in or thou"),
        ("57 kg", LENGTH, "unit of mass", "mm, in or thou"),
        ("57 furlongz", LENGTH, "`furlongz`", "mm, in or thou"),
        ("57 ft/min", LENGTH, "`ft/min` is no unit of length", "mm, in or thou"),
        ("57,5 mm", LENGTH, "57,5", "57.5"),
        ("", LENGTH, "``", ""),
        ("mm", LENGTH, "`mm`", ""),
        ("57 mm mm", LENGTH, "mm mm", ""),
        ("1/0 in", LENGTH, "1/0", ""),
        ("57 mm; rm", LENGTH, "`mm; rm` is no unit", "mm, in or thou"),
        ("nan mm", LENGTH, "nan", ""),
        ("inf mm", LENGTH, "inf", ""),
        ("0x10 mm", LENGTH, "`x10 mm` is no unit", "mm, in or thou"),
    ],
)
def test_errors_say_what_was_read_and_what_was_meant(
    text: str, dimension: Dimension, problem: str, suggestion: str
) -> None:
    error = refusal(text, dimension)
    assert problem in error.problem
    assert suggestion in error.suggestion
    assert str(error).startswith(error.problem)


@pytest.mark.parametrize("dimension", [each for each in DIMENSIONS if each not in BARE], ids=lambda each: each.name)
def test_a_bare_number_is_offered_in_each_likely_unit(dimension: Dimension) -> None:
    error = refusal("12.5", dimension)
    assert error.suggestion == would_be(Fraction(25, 2), dimension)
    for unit in dimension.likely if dimension is not TEMPERATURE else dimension.likely[:1]:
        assert f"12.5 {unit}" in error.suggestion


@pytest.mark.parametrize("exponent", ["9" * 3, "9" * 9, "9" * 60, "1" + "0" * 18])
@pytest.mark.parametrize("sign", ["", "-"])
@pytest.mark.parametrize("reader", [lambda text: parse(text, LENGTH), parse_deck])
def test_huge_exponents_are_refused_at_once(exponent: str, sign: str, reader: Any) -> None:
    """A billion digits must not be written out; that this test ends is what it tests."""
    with pytest.raises(QuantityError):
        reader(f"1e{sign}{exponent} mm")
    with pytest.raises(QuantityError):
        reader(f"1 mm down ± 1e{sign}{exponent} mm")


def test_long_texts_are_refused_unread() -> None:
    error = refusal("1" * (LONGEST_TEXT + 1) + " mm", LENGTH)
    assert f"{LONGEST_TEXT + 4} characters" in error.problem
    assert len(str(error)) < 100


@pytest.mark.parametrize(
    "unit", ["m**9999", "mm**(9**9)", "(((((mm)))))", "m" * 60, "mm*" * 19 + "mm", "a.b", "__class__"]
)
def test_odd_units_are_refused_not_run(unit: str) -> None:
    with pytest.raises(QuantityError):
        parse(f"1 {unit}", VOLUME)


QUANTITY_TEXT = st.text(
    alphabet=st.sampled_from("0123456789.,eE+-/±* ()^²³µμ°%'\"\\mincthouforpdegkNJa\t\n"), max_size=30
)


@given(st.one_of(st.text(max_size=60), QUANTITY_TEXT), st.sampled_from(DIMENSIONS))
@example("1e999999999 mm", LENGTH)
@example("1 mm ± 1e999999999 mm", LENGTH)
@example("1/0 mm", LENGTH)
@example("١ mm", LENGTH)
@example("² mm", LENGTH)
@example("1 m\x00m", LENGTH)
@example("1 %", LENGTH)
@example("1 [length]", LENGTH)
@example("1e400 mm", LENGTH)
@example("1 delta_degC", TEMPERATURE)
@settings(max_examples=600, deadline=None)
def test_arbitrary_text_is_read_or_refused(text: str, dimension: Dimension) -> None:
    """Nothing but ``QuantityError`` comes out, with words in it; what is read is a finite number."""
    try:
        found = parse(text, dimension)
    except QuantityError as error:
        assert error.problem
        assert len(str(error)) < 600
    else:
        assert math.isfinite(found.si)
        assert math.isfinite(found.tolerance)
        assert found.tolerance >= 0
        assert found.dimension is dimension


@given(st.one_of(st.text(max_size=60), QUANTITY_TEXT.map(lambda text: f"{text} down")))
@settings(max_examples=300, deadline=None)
def test_arbitrary_decks_are_read_or_refused(text: str) -> None:
    try:
        found = parse_deck(text)
    except QuantityError as error:
        assert error.problem
    else:
        assert math.isfinite(found.si)


@given(st.decimals(-10_000, 10_000, places=5), st.sampled_from(["mm", "in", "thou", "um", "m", "cm"]))
def test_reading_back_in_the_same_unit_changes_nothing(number: Any, unit: str) -> None:
    assert parse(f"{number} {unit}", LENGTH).to(unit) == pytest.approx(float(number), rel=1e-15, abs=1e-300)


@given(st.floats(-1e7, 1e7, allow_nan=False))
def test_plain_numbers_are_plain(value: float) -> None:
    assume(abs(value) > 1e-4 or value == 0)
    text = plain(value)
    assert "e" not in text.lower()
    assert float(text) == pytest.approx(value, rel=1e-5, abs=6e-7)  # six decimals are shown
