"""A rough estimate of knock, written apart from the tool: which octane number a compression asks for.

    python -m tests.knock           # octane numbers by compression, with what they assume

One charge at one pressure; its unburnt part is compressed by piston and burning without heat or mixing. It knocks where
the knock integral ∫ dt/τ reaches 1 before nine tenths are burnt, with the ignition delay of Douaud and Eyzat
(SAE 780080, quoted in Heywood, Internal Combustion Engine Fundamentals, ch. 9; recalled):

    τ = 17.68 (ON/100)^3.402 p^−1.7 exp(3800/T) ms, p in atm, T in K, fitted to fuels of 80 to 100.

As τ goes with ON alone at a given p(t) and T(t), the number that just does not knock has a closed form. Taken for
granted: full throttle, trapped at 1 atm and 370 K at 50° after bottom; 3600 rpm; rod 3.5 throws long; Wiebe's burn,
a = 5, m = 2, of 60° with its half at 8° after top; heat of 23 R T of the trapped charge, its losses taken off; ratios
of heats 1.33 unburnt and 1.25 burnt. Tests say how far the answer moves with each of them. It is an estimate of an
air-cooled engine in its worst hour, not of one on a dynamometer.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np


@dataclass(frozen=True)
class Case:
    """What the estimate takes for granted, in the units of its text."""

    rpm: float = 3600.0
    pressure_atm: float = 1.0
    temperature: float = 370.0
    closes_deg: float = 50.0
    rod_throws: float = 3.5
    half_deg: float = 8.0
    burn_deg: float = 60.0
    heat: float = 23.0
    unburnt: float = 1.33
    burnt: float = 1.25
    until: float = 0.9
    steps: int = 4000


def trapped(compression: float, closes_deg: float, rod_throws: float = 3.5) -> float:
    """Compression that is left from an intake closing so many degrees after bottom, no pin offset."""
    angle = np.radians(180.0 - closes_deg)
    down = 1 - np.cos(angle) + rod_throws - np.sqrt(rod_throws**2 - np.sin(angle) ** 2)
    return float(1 + (compression - 1) * down / 2)


def octane(compression: float, case: Case | None = None) -> float:
    """Octane number at which the end gas just does not ignite by itself."""
    c = case or Case()
    angle = np.radians(np.linspace(c.closes_deg - 180.0, 90.0, c.steps))
    down = 1 - np.cos(angle) + c.rod_throws - np.sqrt(c.rod_throws**2 - np.sin(angle) ** 2)
    volume = 1 + (compression - 1) * down / 2
    half = (np.log(2) / 5) ** (1 / 3)
    burn = np.clip((angle - np.radians(c.half_deg - c.burn_deg * half)) / np.radians(c.burn_deg), 0.0, None)
    share = 1 - np.exp(-5 * burn**3)
    pressure = np.empty(c.steps)
    pressure[0] = c.pressure_atm
    released = c.heat * c.pressure_atm * volume[0]
    for i in range(c.steps - 1):
        ratio = c.unburnt + (c.burnt - c.unburnt) * (share[i] + share[i + 1]) / 2
        added = (ratio - 1) * released * (share[i + 1] - share[i]) / ((volume[i] + volume[i + 1]) / 2)
        pressure[i + 1] = pressure[i] * (volume[i] / volume[i + 1]) ** ratio + added
    end_gas = c.temperature * (pressure / pressure[0]) ** (1 - 1 / c.unburnt)
    milliseconds = angle / (c.rpm * np.pi / 30) * 1e3
    before = share <= c.until
    rate = pressure**1.7 * np.exp(-3800 / end_gas) / 17.68
    return float(100 * np.trapezoid(rate[before], milliseconds[before]) ** (1 / 3.402))


MOVED = {
    "2400 rpm": replace(Case(), rpm=2400),
    "charge 350 K": replace(Case(), temperature=350),
    "closing 60°": replace(Case(), closes_deg=60),
    "0.9 atm": replace(Case(), pressure_atm=0.9),
    "half burnt at 12°": replace(Case(), half_deg=12),
    "unburnt 1.32": replace(Case(), unburnt=1.32),
    "heat 21 R T": replace(Case(), heat=21),
}
"""One assumption changed at a time."""


if __name__ == "__main__":
    for ratio in (8.0, 8.5, 9.0, 9.5, 10.0, 10.5, 11.0):
        moved = ", ".join(f"{name} {octane(ratio, case):.0f}" for name, case in MOVED.items())
        print(f"{ratio:4.1f}: {octane(ratio):.1f}  ({moved})")
