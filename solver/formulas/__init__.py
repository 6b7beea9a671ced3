"""Formulas: pure functions of SI floats, each registered as a figure; numpy arrays go through them alike.

Importing this package fills :data:`kitwright.solver.registry.FIGURES`, in the order of the builder's steps. An input
that may be unknown (marked ``?`` in the registration) arrives as NaN.
"""

from kitwright.solver.formulas import bottom_end, stack, valve_gear, volumes, turning, speed, money  # noqa: F401, I001
