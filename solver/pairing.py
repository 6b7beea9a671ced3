"""Short blocks as columns of numbers: bore state, crank, rod and piston by class, some rows at a time."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from kitwright.solver.classes import Ints
from kitwright.solver.stopping import room_for

Rows = tuple[Ints, Ints, Ints, Ints]
"""Bore state, crank, rod and piston (by class), one of each a row."""

BATCH = 250_000
"""Short blocks that are sifted at once: many enough for arrays to be quick, few enough for memory."""


_BYTES_A_ROW = 32
"""Four numbers of eight bytes."""


def joined(pieces: Sequence[Rows]) -> Rows:
    """Pieces put together."""
    room_for(2 * _BYTES_A_ROW * sum(len(piece[0]) for piece in pieces))
    columns = zip(*pieces, strict=True) if pieces else ([np.empty(0)],) * 4
    return tuple(np.concatenate(column).astype(np.int64) for column in columns)  # type: ignore[return-value]


def batches(pieces: Iterator[Rows]) -> Iterator[Rows]:
    """Pieces put together to some :data:`BATCH` rows."""
    some: list[Rows] = []
    count = 0
    for piece in pieces:
        some.append(piece)
        count += len(piece[0])
        if count >= BATCH:
            yield joined(some)
            some, count = [], 0
    if count:
        yield joined(some)
