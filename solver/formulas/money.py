"""Money still to be spent."""

from __future__ import annotations

from kitwright.solver.registry import figure


@figure(
    "cost",
    unit="money",
    group="money",
    meaning="money still to be spent: parts that are not on the shelf, plus labour",
    formula="Σ price × number to buy + Σ labour",
    source="definition",
    inputs=("money.to_spend",),
    shape="additive",
)
def cost(to_spend: float) -> float:
    """Prices of what has to be bought plus labour, in the catalogue's money. Source: definition.

    >>> cost(38.0)
    38.0
    """
    return to_spend


@figure(
    "parts_to_buy",
    unit="",
    group="money",
    meaning="how many parts have to be bought",
    formula="Σ number to buy",
    source="definition",
    inputs=("money.parts_to_buy",),
    step=1.0,
    shape="additive",
)
def parts_to_buy(count: float) -> float:
    """Number of parts that are not on the shelf. Source: definition.

    >>> parts_to_buy(2.0)
    2.0
    """
    return count
