"""The question answered by staged joins with filters in pandas.

Every table is filtered before it is joined, equal rows are grouped and counted, valve gear and the rest alike; limits
on a sum become ranges, for which pandas has no join: the sorted column is searched. Large joins run in batches, so that
memory stays bounded.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np
import pandas as pd

from kitwright.solver.catalogue import Catalogue
from tests.benchmarks import asked
from tests.benchmarks.asked import Key, numbers, points

BATCH = 2_000_000
"""Rows of a join that are made at once."""

FIRST_CLOSENESS = 4
"""Builds and valve gear up to this closeness are joined first; where too few fit, up to twice as much."""

KEYS = ["unproved", "steps", "paid"]


def _grouped(frame: pd.DataFrame, by: list[str]) -> pd.DataFrame:
    """Equal rows as one, with ``n``, the number of combinations that they stand for."""
    return frame.groupby(by, as_index=False, sort=False)["n"].sum()


def _short_blocks(read: dict[str, pd.DataFrame]) -> pd.DataFrame:
    """Short blocks whose parts fit one another: deck, swept volume, crown, money."""
    cranks = read["crank"].rename(columns={"paid": "crank_paid", "unrated": "crank_unrated"})
    rods = read["rod"].rename(columns={"paid": "rod_paid", "unrated": "rod_unrated"})
    pistons = read["piston"].rename(columns={"paid": "piston_paid"})
    found = cranks.merge(rods, left_on="journal", right_on="big_end").merge(pistons, on="pin")
    found = found.merge(read["block"], on="bore")
    found["deck"] = found.block_height - found.stroke / 2 - found.length - found.compression_height
    found["deck"] = found.deck.round(6)
    found["paid"] += found.crank_paid + found.rod_paid + found.piston_paid
    found["unproved"] = found.crank_unrated | found.rod_unrated
    return _grouped(found.assign(n=1), ["bore", "stroke", "deck", "crown", "paid", "unproved"])


def _stacks(gaskets: pd.DataFrame) -> pd.DataFrame:
    """Stacks of one to three gaskets: thickness, volume, least bore, money."""
    gaskets = gaskets.drop(columns="paid").assign(gasket=np.arange(len(gaskets)))
    volume = gaskets.thickness * np.pi / 4 * gaskets.bore**2
    gaskets["volume"] = volume
    names = gaskets[["gasket"]]
    stacks = names.rename(columns={"gasket": 0})
    layers = [stacks]
    for layer in range(1, asked.LAYERS):
        stacks = stacks.merge(names.rename(columns={"gasket": layer}), how="cross")
        stacks = stacks[stacks[layer] >= stacks[layer - 1]]
        layers.append(stacks)
    every = pd.concat(layers, ignore_index=True).rename_axis("stack").reset_index()
    each = every.melt("stack", value_name="gasket").dropna().astype({"gasket": int})
    each = each.groupby(["stack", "gasket"], as_index=False).size().merge(gaskets, on="gasket")
    each["paid"] = (each["size"] - each.on_shelf).clip(lower=0) * each.price
    each["thickness"] *= each["size"]
    each["volume"] *= each["size"]
    found = each.groupby("stack").agg(
        thickness=("thickness", "sum"), volume=("volume", "sum"), gasket_bore=("bore", "min"), paid=("paid", "sum")
    )
    found = found.round({"thickness": 6, "volume": 6}).assign(n=1)
    return _grouped(found, ["thickness", "volume", "gasket_bore", "paid"])


def _gear(read: dict[str, pd.DataFrame]) -> pd.DataFrame:
    """Valve gear that opens far enough and clears: head to the keys that it brings, counted."""
    cams = read["cam"].merge(read["rocker"], how="cross", suffixes=("", "_rocker"))
    intake = cams.intake_lobe_lift * cams.ratio - cams.lash_intake
    exhaust = cams.exhaust_lobe_lift * cams.exhaust_ratio - cams.lash_exhaust
    cams["lift"] = np.maximum(intake, exhaust).round(9)
    cams["paid"] += cams.paid_rocker
    cams = cams[cams.lift.between(asked.LEAST_LIFT - asked.NEAR, asked.LIFT + asked.NEAR)].assign(n=1)
    cams = _grouped(cams, ["lift", "paid", "unrated"]).rename(columns={"unrated": "unproved"})
    springs = _grouped(read["spring"].assign(n=1), ["solid_height", "paid", "unrated"])
    springs = springs.merge(read["retainer"], how="cross", suffixes=("", "_retainer"))
    springs["paid"] += springs.paid_retainer
    found = read["head"][["id", "installed_height", "retainer_room"]].rename(columns={"id": "head"})
    found = found.merge(cams, how="cross").merge(springs, how="cross", suffixes=("", "_spring"))
    clear = found.installed_height + found.height_gain - found.solid_height - found.lift >= -asked.NEAR
    found = found[clear & (found.retainer_room + found.height_gain - found.lift >= -asked.NEAR)]
    found = _joined(found, "_spring", steps=points(found.lift, asked.LIFT, asked.LIFT_STEP))
    rest = read["pushrod"].merge(read["flywheel"], how="cross", suffixes=("", "_flywheel"))
    rest["paid"] += rest.paid_flywheel
    rest = _grouped(rest.assign(n=1), ["paid", "unrated"])
    return _joined(found.merge(rest, how="cross", suffixes=("", "_rest")), "_rest")


def _joined(found: pd.DataFrame, suffix: str, **more: Any) -> pd.DataFrame:
    """What two tables bring together, of a head and its keys."""
    found = found.assign(
        paid=found.paid + found[f"paid{suffix}"],
        n=found.n * found[f"n{suffix}"],
        unproved=found.unproved | found.unrated,
        **more,
    )
    return _grouped(found[found.paid <= asked.BUDGET + asked.NEAR], ["head", *KEYS])


def _ranged(
    left: pd.DataFrame, low: pd.Series, high: pd.Series, right: pd.DataFrame, column: str, suffix: str
) -> Iterator[pd.DataFrame]:
    """The rows of ``right``, sorted by a column, that lie in each left row's range, joined to it: in batches."""
    values = right[column].to_numpy()
    first = np.searchsorted(values, low.to_numpy() - asked.NEAR, side="left")
    count = np.maximum(np.searchsorted(values, high.to_numpy() + asked.NEAR, side="right") - first, 0)
    ends = np.cumsum(count)
    renamed = right.rename(columns={name: f"{name}{suffix}" for name in right if name in left})
    start = 0
    while start < len(left):
        before = ends[start - 1] if start else 0
        stop = max(int(np.searchsorted(ends, before + BATCH, side="right")), start + 1)
        some = count[start:stop]
        inside = np.arange(some.sum()) - np.repeat(np.cumsum(some) - some, some)
        rows = np.repeat(first[start:stop], some) + inside
        yield pd.concat(
            [
                left.iloc[np.repeat(np.arange(start, stop), some)].reset_index(drop=True),
                renamed.iloc[rows].reset_index(drop=True),
            ],
            axis=1,
        )
        start = stop


def _builds(read: dict[str, pd.DataFrame], spare: float) -> pd.DataFrame:
    """Short block, stack and milled head inside quench, compression and ``spare`` money: head to keys, counted."""
    short, stacks = _short_blocks(read), _stacks(read["gasket"]).sort_values("thickness", ignore_index=True)
    heads = read["head"].merge(read["mill"], left_on="id", right_on="head")
    heads = heads.assign(left=heads.chamber - heads.off * heads.chamber_area, head_paid=heads.paid + heads.labour)
    heads = heads[["head", "left", "head_paid"]].sort_values("left", ignore_index=True)
    groups: list[pd.DataFrame] = []
    reach = short.deck.between(
        asked.QUENCH - stacks.thickness.max() - asked.NEAR, asked.MOST_QUENCH - stacks.thickness.min() + asked.NEAR
    )
    short = short[reach & (short.paid <= spare)].sort_values("deck", ignore_index=True)
    for some in _ranged(
        short, asked.QUENCH - short.deck, asked.MOST_QUENCH - short.deck, stacks, "thickness", "_stack"
    ):
        some["paid"] += some.paid_stack
        some = some[(some.paid <= spare) & (some.gasket_bore >= some.bore)]
        circle = np.pi / 4 * some.bore**2
        some = pd.DataFrame(
            {
                "swept": circle * some.stroke,
                "filled": some.crown + circle * some.deck + some.volume,
                "steps": points(some.deck + some.thickness, asked.QUENCH, asked.QUENCH_STEP),
                "paid": some.paid,
                "unproved": some.unproved,
                "n": some.n * some.n_stack,
            }
        ).reset_index(drop=True)
        low, high = some.swept / (asked.MOST_RATIO - 1), some.swept / (asked.LEAST_RATIO - 1)
        for found in _ranged(some, low - some.filled, high - some.filled, heads, "left", "_head"):
            found["paid"] += found.head_paid
            found = found[found.paid <= spare]
            ratio = 1 + found.swept / (found.filled + found.left)
            found["steps"] += points(ratio, asked.RATIO, asked.RATIO_STEP)
            groups.append(_grouped(found, ["head", *KEYS]))
        if len(groups) > 20:
            groups = [_grouped(pd.concat(groups), ["head", *KEYS])]
    return _grouped(pd.concat(groups), ["head", *KEYS])


def rows_to_make(catalogue: Catalogue) -> int:
    """Rows of the join of short blocks and stacks, before anything is asked of compression: known without making it."""
    read = _frames(catalogue)
    short, thick = _short_blocks(read), np.sort(_stacks(read["gasket"]).thickness.to_numpy())
    low, high = (bound - short.deck.to_numpy() for bound in (asked.QUENCH - asked.NEAR, asked.MOST_QUENCH + asked.NEAR))
    return int((np.searchsorted(thick, high, side="right") - np.searchsorted(thick, low, side="left")).sum())


def _frames(catalogue: Catalogue) -> dict[str, pd.DataFrame]:
    """The parts as tables, without those that are too slow."""
    read = {kind: pd.DataFrame(rows) for kind, rows in numbers(catalogue).items()}
    for kind in asked.RATED:
        rated = read[kind]["rpm"]
        read[kind] = read[kind].assign(unrated=rated.isna())[~(rated < asked.SPEED)].drop(columns=["rpm", "id"])
    return read


def joined_in_pandas(catalogue: Catalogue, wanted: int) -> list[Key]:
    """The keys of the best combinations."""
    read = _frames(catalogue)
    gear = _gear(read)
    builds = _builds(read, asked.BUDGET + asked.NEAR - gear.paid.min())
    found: list[Key] = []
    for unproved in (False, True):
        if len(found) < wanted:
            found += _closest(builds, gear, unproved, wanted - len(found))
    return found


def _closest(builds: pd.DataFrame, gear: pd.DataFrame, unproved: bool, wanted: int) -> list[Key]:
    """Builds joined with valve gear: those that are close first, further ones until enough are found."""
    if not unproved:
        builds, gear = builds[~builds.unproved], gear[~gear.unproved]
    if builds.empty or gear.empty:
        return []
    most, furthest = FIRST_CLOSENESS, builds.steps.max() + gear.steps.max()
    while True:
        some = builds[builds.steps <= most].merge(gear[gear.steps <= most], on="head", suffixes=("", "_gear"))
        some["paid"] += some.paid_gear
        some["steps"] += some.steps_gear
        some["n"] *= some.n_gear
        some["unproved"] |= some.unproved_gear
        some = some[(some.paid <= asked.BUDGET + asked.NEAR) & (some.steps <= most) & (some.unproved == unproved)]
        if some.n.sum() >= wanted or most >= furthest:
            break
        most *= 2
    best = _grouped(some, KEYS).sort_values(KEYS).head(wanted)
    keys = best.loc[best.index.repeat(best.n.clip(upper=wanted)), KEYS].head(wanted)
    return [(int(a), int(b), float(c)) for a, b, c in keys.itertuples(index=False)]
