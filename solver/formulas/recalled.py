"""What confirms a formula whose source is recalled, that is, was not at hand when it was written.

A source that says *recalled* names a book or a norm whose text nobody looked up again. The formula is then worked out
another way in a test, and :data:`CONFIRMED` says which. Figures show it beside their source; a docstring says
*recalled, recomputed*.
"""

from __future__ import annotations

RECALLED = "recalled"

_HERE = "tests/test_recalled.py::"
_TURN = (
    "derivatives of the crank's geometry, by mpmath",
    f"{_HERE}test_greatest_speed_and_accelerations_by_derivatives",
)
_PIN = ("dead centres as zeros of the derivative, by mpmath", f"{_HERE}test_dead_centres_and_travel_by_derivative")
_VOLUME = ("integral over slices, extremes over a turn, by mpmath", f"{_HERE}test_volumes_by_slices_and_over_a_turn")
_PASSED = ("volume that passes in a stroke, by mpmath", f"{_HERE}test_mean_gas_speed_from_the_volume_that_passes")
_MACH = (
    "mean flow over the speed of sound of fluids",
    f"{_HERE}test_mach_index_is_that_of_the_mean_flow_through_the_valves",
)
_CURTAIN = ("line turned about the axis, by mpmath", f"{_HERE}test_curtain_by_revolution_up_to_the_head")
_SEAT = ("shortest way to the seat, by scipy", f"{_HERE}test_seat_area_by_the_shortest_way_from_valve_to_seat")
_TWO_MASSES = ("integral over the rod's particles, by mpmath", f"{_HERE}test_two_masses_pull_as_the_whole_rod_does")
_LOAD = ("change of momentum, by mpmath", f"{_HERE}test_rod_load_is_the_change_of_momentum")
_WORK = ("work done against work stored, by mpmath", f"{_HERE}test_stress_and_stretch_by_the_work_done")
_BALANCE = ("harmonics of the exact motion", f"{_HERE}test_balance_by_the_harmonics_of_all_that_moves")
_RATE = ("energy of the twisted wire, by mpmath", f"{_HERE}test_spring_rate_by_the_energy_of_a_twisted_wire")
_FORCE = ("slope of the stored energy, by mpmath", f"{_HERE}test_spring_forces_are_the_slope_of_the_energy")
_COIL = ("within 1.4 % of Wahl's factor, which was seen", f"{_HERE}test_the_stress_factor_is_near_wahls_that_was_seen")
_SURGE = ("modes of a chain of masses, by numpy", f"{_HERE}test_surge_by_the_modes_of_a_chain_of_masses")
_ENDS = ("the wire followed coil by coil, by mpmath", f"{_HERE}test_closed_ends_coil_by_coil")
_FLOAT = (
    "speed at which the contact force comes to nothing, by scipy",
    f"{_HERE}test_float_where_the_contact_force_first_comes_to_nothing",
)

CONFIRMED: dict[str, tuple[str, str]] = {
    "piston_travel": _PIN,
    "top_dead_centre": _PIN,
    "bottom_dead_centre": _PIN,
    "piston_drop": _PIN,
    "pin_height": ("distance of pin and crank pin", f"{_HERE}test_the_pin_stands_at_a_rods_length_from_the_crank_pin"),
    "mean_piston_speed": (
        "mean of the speed over a turn, by mpmath",
        f"{_HERE}test_mean_piston_speed_is_the_mean_over_a_turn",
    ),
    "peak_piston_speed": _TURN,
    "peak_piston_acceleration": _TURN,
    "top_acceleration": _TURN,
    "swept_volume": _VOLUME,
    "displacement": _VOLUME,
    "compression": _VOLUME,
    "clearance_volume": (
        "a worked example by two independent programs",
        "tests/test_worked_examples.py::test_g1_compression",
    ),
    "gas_speed": _PASSED,
    "port_speed": _PASSED,
    "inlet_mach_index": _MACH,
    "speed_at_mach_index": _MACH,
    "curtain_area": _CURTAIN,
    "curtain_area_of": _CURTAIN,
    "seat_stage_lifts": _SEAT,
    "seat_flow_area": _SEAT,
    "seat_stage": _SEAT,
    "cranking_pressure": (
        "below the isentropic bound of cantera and CoolProp",
        "tests/test_isentropic_bound.py",
    ),
    "reciprocating_mass": _TWO_MASSES,
    "rotating_mass": _TWO_MASSES,
    "inertia_load": _LOAD,
    "speed_at_load": _LOAD,
    "rod_stress": _WORK,
    "rod_stretch": _WORK,
    "load_at_stretch": _WORK,
    "quench_at_speed": ("a worked example by two independent programs", "tests/test_heat.py::test_g5_through_a_plan"),
    "counterweight_mass": _BALANCE,
    "counterweight_moment": _BALANCE,
    "balance_factor": _BALANCE,
    "primary_force": _BALANCE,
    "residual_axial_force": _BALANCE,
    "residual_cross_force": _BALANCE,
    "secondary_force": _BALANCE,
    "axial_force": _BALANCE,
    "cross_force": _BALANCE,
    "spring_rate": _RATE,
    "spring_seat": _FORCE,
    "spring_force": _FORCE,
    "bergstraesser_factor": _COIL,
    "coil_stress": _COIL,
    "spring_stress": _COIL,
    "spring_yield_margin": ("Wahl's factor, which was seen", f"{_HERE}test_what_is_left_of_a_wires_yield_by_wahl"),
    "surge_frequency": _SURGE,
    "surge_frequency_en": _SURGE,
    "spring_surge": _SURGE,
    "active_from_total": _ENDS,
    "closed_pitch": _ENDS,
    "stable_length": ("elasticity with Poisson's ratio of steel", f"{_HERE}test_stable_length_from_elasticity"),
    "effective_mass": ("kinetic energy, by mpmath", f"{_HERE}test_effective_mass_by_kinetic_energy"),
    "nose_float_speed": _FLOAT,
    "float_speed": _FLOAT,
    "float_speed_of": _FLOAT,
    "shear_modulus": (
        "near that of any steel",
        f"{_HERE}test_a_limit_of_wire_size_that_is_wrong_moves_the_rate_by_little",
    ),
    "measured_curve": (
        "integral over a step",
        f"{_HERE}test_a_rounded_reading_strays_by_its_step_over_root_twelve",
    ),
    "root_between": ("brentq of scipy", "tests/test_kinematics.py::test_root_finder_agrees_with_another"),
    "root": ("brentq of scipy", f"{_HERE}test_root_agrees_with_another"),
    "wilson": ("binomtest of scipy", "tests/test_sampling.py::test_interval_of_a_share"),
    "shares": ("a sum's own tolerances", "tests/test_sampling.py::test_shares_of_a_sum_are_its_tolerances"),
    "_irreducible": (
        "each left out in turn",
        "tests/test_bench.py::test_a_conflict_is_irreducible_and_every_way_out_opens",
    ),
}
"""Name of a figure or of a function to what confirms it, in words, and the test."""


def confirmation(figure: str, function: str, source: str) -> str:
    """What confirms a figure whose source is recalled, in words and by the test's name; empty where it was seen.

    Args:
        figure: the figure's name.
        function: the name of the function that works it out.
        source: as registered.

    Source: none needed.

    >>> confirmation("rod_load", "inertia_load", "Newton; Norton, Design of Machinery (recalled)")
    'change of momentum, by mpmath (tests/test_recalled.py::test_rod_load_is_the_change_of_momentum)'
    >>> confirmation("deck", "deck", "geometry")
    ''
    """
    if RECALLED not in source:
        return ""
    how, where = CONFIRMED.get(figure) or CONFIRMED[function]
    return f"{how} ({where})"
