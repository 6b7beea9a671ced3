"""Materials of rods, barrels, heads, pistons and springs: what stretch, heat and spring rate take from them.

Values at room temperature; expansion to 200 °C runs higher. A value that no source gives is NaN.
"""

from __future__ import annotations

import difflib
from dataclasses import dataclass
from typing import Any

import numpy as np

CALLISTER = "Callister, Materials Science and Engineering, tables B.1, B.2, B.6"
SHIGLEY = "Shigley's Mechanical Engineering Design, 9th ed., table 10-5"
RECOMPUTED = "tests/test_recalled.py"
PISTON_ALLOY = f"data of a common piston alloy (recalled; held against its elements and a seen alloy, {RECOMPUTED})"
RECALLED_DENSITY = f"density recalled, that of steel ({RECOMPUTED})"
STRENGTH = (
    "strength and its sizes by table 10-4, recalled in both of its unit systems "
    "(tests/test_firing.py::test_wire_strength_is_the_same_in_both_unit_systems); share at which it yields in torsion "
    "by table 10-6, recalled, within what distortion energy allows "
    f"({RECOMPUTED}::test_wire_yields_in_torsion_where_distortion_energy_says)"
)
INCH = 0.0254
NAN = float("nan")


class UnknownMaterialError(ValueError):
    """A name that the table does not hold: ``problem`` says which, ``suggestion`` what was probably meant."""

    def __init__(self, problem: str, suggestion: str) -> None:
        super().__init__(f"{problem}; {suggestion}")
        self.problem = problem
        self.suggestion = suggestion


@dataclass(frozen=True, slots=True)
class Wire:
    """Strength of a spring wire: it breaks in tension at A / dᵐ and yields in torsion at a share of that.

    Attributes:
        strength: A, Pa for a wire of 1 mm.
        exponent: m.
        thinnest: wire diameter from which on the values hold, m.
        thickest: wire diameter up to which they hold, m.
        share: torsional yield over tensile strength, set not yet removed.

    """

    strength: float
    exponent: float
    thinnest: float
    thickest: float
    share: float


@dataclass(frozen=True, slots=True)
class Material:
    """A material's values in SI.

    Attributes:
        name: what it is called here.
        aliases: other plain names.
        elasticity: Young's modulus, Pa; the middle where the source gives a range.
        density: kg/m³.
        expansion: linear, 1/K.
        source: where the values come from, and which of them are recalled, with the test that confirms those.
        shear_modulus: of spring wire, Pa.
        elasticity_range: lowest and highest Young's modulus of the source, Pa, where it gives a range.
        shear_by_wire: (wire diameters up to and including, m; shear modulus, Pa), thinnest first, where it
            depends on that.
        wire: strength as a spring's wire, where the source gives it.

    """

    name: str
    aliases: tuple[str, ...]
    elasticity: float
    density: float
    expansion: float
    source: str
    shear_modulus: float = NAN
    elasticity_range: tuple[float, float] | None = None
    shear_by_wire: tuple[tuple[float, float], ...] = ()
    wire: Wire | None = None


MATERIALS: tuple[Material, ...] = (
    Material("steel 4340", ("steel", "steel 4140", "4340", "4140"), 207e9, 7850.0, 12.3e-6, CALLISTER),
    Material("steel 1020", ("1020", "mild steel"), 207e9, 7850.0, 11.7e-6, CALLISTER),
    Material("steel 1040", ("1040", "carbon steel"), 207e9, 7850.0, 11.3e-6, CALLISTER),
    Material(
        "grey iron",
        ("gray iron", "cast iron", "iron", "grey iron g3000", "g3000"),
        101.5e9,
        7300.0,
        11.4e-6,
        CALLISTER,
        elasticity_range=(90e9, 113e9),
    ),
    Material("ductile iron", ("ductile iron 60-40-18", "nodular iron"), 169e9, 7100.0, 11.2e-6, CALLISTER),
    Material(
        "aluminium 356",
        ("aluminum 356", "356", "356.0", "al 356", "cast aluminium", "cast aluminum"),
        72.4e9,
        2690.0,
        21.5e-6,
        f"{CALLISTER}; density recalled, that of its elements ({RECOMPUTED})",
    ),
    Material(
        "aluminium 6061",
        ("aluminium", "aluminum", "aluminum 6061", "6061", "al 6061"),
        69e9,
        2700.0,
        23.6e-6,
        f"{CALLISTER}; that plain aluminium means this one is common practice, no source",
    ),
    Material("aluminium 2024", ("aluminum 2024", "2024", "al 2024"), 72.4e9, 2770.0, 22.9e-6, CALLISTER),
    Material("aluminium 4032", ("aluminum 4032", "4032", "al 4032"), 79e9, 2680.0, 19.4e-6, PISTON_ALLOY),
    Material("aluminium 2618", ("aluminum 2618", "2618", "al 2618"), 74e9, 2760.0, 22.3e-6, PISTON_ALLOY),
    Material(
        "music wire",
        ("piano wire",),
        NAN,
        7850.0,
        NAN,
        f"{SHIGLEY}; limits of wire size recalled, at most 1.3 % in rate ({RECOMPUTED}); {RECALLED_DENSITY}; "
        f"{STRENGTH}",
        shear_by_wire=(
            (0.0325 * INCH, 82.7e9),
            (0.0635 * INCH, 81.7e9),
            (0.125 * INCH, 81.0e9),
            (float("inf"), 80.0e9),
        ),
        wire=Wire(2211e6, 0.145, 0.10e-3, 6.5e-3, 0.45),
    ),
    Material(
        "hard drawn wire",
        ("hard drawn spring wire",),
        NAN,
        7850.0,
        NAN,
        f"{SHIGLEY}, shear modulus and its limits of wire size recalled, at most 0.9 % in rate ({RECOMPUTED}); "
        f"{RECALLED_DENSITY}; {STRENGTH}",
        shear_by_wire=(
            (0.032 * INCH, 80.7e9),
            (0.063 * INCH, 80.0e9),
            (0.125 * INCH, 79.3e9),
            (float("inf"), 78.6e9),
        ),
        wire=Wire(1783e6, 0.190, 0.7e-3, 12.7e-3, 0.45),
    ),
    Material(
        "oil tempered wire",
        ("oil tempered", "oil tempered spring wire"),
        NAN,
        7850.0,
        NAN,
        f"{SHIGLEY}, shear modulus recalled, near that of any steel ({RECOMPUTED}); {RECALLED_DENSITY}; {STRENGTH}",
        77.2e9,
        wire=Wire(1855e6, 0.187, 0.5e-3, 12.7e-3, 0.50),
    ),
    Material(
        "valve spring wire",
        ("valve spring", "valve spring steel", "spring steel"),
        NAN,
        7850.0,
        NAN,
        f"{SHIGLEY}; {RECALLED_DENSITY}",
        77.2e9,
    ),
    Material(
        "chrome vanadium",
        ("chromium vanadium", "cr v", "crv"),
        NAN,
        7850.0,
        NAN,
        f"{SHIGLEY}; {RECALLED_DENSITY}; {STRENGTH}",
        77.2e9,
        wire=Wire(2005e6, 0.168, 0.8e-3, 11.1e-3, 0.50),
    ),
    Material(
        "chrome silicon",
        ("chromium silicon", "cr si", "crsi"),
        NAN,
        7850.0,
        NAN,
        f"{SHIGLEY}; shear modulus recalled, near that of any steel ({RECOMPUTED}); {RECALLED_DENSITY}; {STRENGTH}",
        77.2e9,
        wire=Wire(1974e6, 0.108, 1.6e-3, 9.5e-3, 0.50),
    ),
)
"""Every material, each with its source."""


def _plain(name: str) -> str:
    return " ".join(name.casefold().replace("-", " ").replace("_", " ").split())


_BY_NAME = {_plain(name): each for each in MATERIALS for name in (each.name, *each.aliases)}


def material(name: str) -> Material:
    """Look a material up by a plain name; capitals, hyphens and extra spaces do not matter.

    Raises:
        UnknownMaterialError: the table does not hold it; the nearest names are suggested.

    Source: the table's entries name theirs.

    >>> material("Chrome-Silicon").shear_modulus
    77200000000.0

    """
    found = _BY_NAME.get(_plain(name))
    if found is not None:
        return found
    near = difflib.get_close_matches(_plain(name), _BY_NAME, n=8, cutoff=0.6)
    names = list(dict.fromkeys(_BY_NAME[each].name for each in near))[:3] or [each.name for each in MATERIALS]
    raise UnknownMaterialError(f"no material is called `{name}`", f"write one of: {', '.join(names)}")


def shear_modulus(name: str, wire: float) -> float:
    """Shear modulus G of a spring wire, in Pa; NaN for what is no spring wire or has no known size.

    Args:
        name: of the material.
        wire: wire diameter, m; matters where the modulus goes by size.

    Raises:
        UnknownMaterialError: the table does not hold the name.

    Source: Shigley's Mechanical Engineering Design, 9th ed., table 10-5; sizes and chrome silicon
    (recalled, recomputed).

    >>> float(shear_modulus("music wire", 0.0025)) / 1e9
    81.0

    """
    found = material(name)
    if not found.shear_by_wire:
        return found.shear_modulus
    limits = np.array([limit for limit, _ in found.shear_by_wire])
    moduli = np.array([each for _, each in found.shear_by_wire])
    index = np.minimum(np.searchsorted(limits, wire), len(moduli) - 1)
    value: Any = np.where(np.isnan(wire), np.nan, moduli[index])
    modulus: float = value[()]
    return modulus


def wire_strength(name: str, wire: float) -> tuple[float, float]:
    """Torsional yield of a spring wire of 1 mm, in Pa, and the exponent by which it falls with the diameter.

    NaN for both where the name is no spring wire of the table, or the wire (m) is outside the sizes that it holds for.
    The share of the tensile strength is that of springs whose set has not been removed, the lowest of the table: 45 %
    for cold-drawn wire, 50 % for hardened and tempered wire. A spring that was set by its maker stands more.

    Raises:
        UnknownMaterialError: the table does not hold the name.

    Source: Shigley's Mechanical Engineering Design, 9th ed., tables 10-4 (A, m, sizes) and 10-6 (share)
    (recalled, recomputed).

    >>> yields, exponent = wire_strength("music wire", 0.00094)
    >>> round(yields * 0.94**-exponent / 1e6)
    1004
    """
    found = material(name).wire
    if found is None or not found.thinnest * (1 - 1e-9) <= wire <= found.thickest * (1 + 1e-9):
        return NAN, NAN
    return found.share * found.strength, found.exponent
