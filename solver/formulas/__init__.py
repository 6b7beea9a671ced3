"""Formulas: pure functions of SI floats, each registered as a figure; numpy arrays go through them alike.

Importing this package fills :data:`kitwright.solver.registry.FIGURES`, in the order of the builder's steps. An input
that may be unknown (marked ``?`` in the registration) arrives as NaN.
"""

from kitwright.solver.formulas import (  # noqa: F401, I001  (an order in which each finds what it builds on)
    bottom_end,
    stack,
    volumes,
    valve_events,
    valve_gear,
    turning,
    speed,
    pushrod_fit,
    starting,
    breathing,
    valve_motion,
    valve_train,
    surge,
    at_ceiling,
    firing,
    stresses,
    money,
)
