"""The catalogue as the solver sees it: parts by kind, found by id."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from kitwright.solver.parts import KINDS, Part

if TYPE_CHECKING:
    import pandas


@dataclass(frozen=True)
class Catalogue:
    """All parts that the builder has or could buy.

    >>> Catalogue.of([]).kinds
    ()
    """

    parts: dict[str, tuple[Part, ...]]
    folder: str = ""
    warnings: tuple[str, ...] = ()
    _by_id: dict[str, Part] = field(default_factory=dict, repr=False, compare=False)

    def __post_init__(self) -> None:
        self._by_id.update({part.id: part for part in self})

    @staticmethod
    def of(parts: Iterable[Part], folder: str = "", warnings: tuple[str, ...] = ()) -> Catalogue:
        """Sort parts into kinds, each by id, so that the order of files and rows never matters.

        Raises:
            ValueError: two parts with one id.
        """
        by_kind: dict[str, list[Part]] = {}
        seen: set[str] = set()
        for part in parts:
            if part.id in seen:
                raise ValueError(f"two parts have the id `{part.id}`")
            seen.add(part.id)
            by_kind.setdefault(part.kind, []).append(part)
        ordered = {kind: tuple(sorted(by_kind[kind], key=lambda part: part.id)) for kind in KINDS if kind in by_kind}
        return Catalogue(ordered, folder, warnings)

    def __iter__(self) -> Iterator[Part]:
        for parts in self.parts.values():
            yield from parts

    def __len__(self) -> int:
        return sum(map(len, self.parts.values()))

    def get(self, part_id: str) -> Part | None:
        """The part with this id, or None."""
        return self._by_id.get(part_id)

    def of_kind(self, kind: str) -> tuple[Part, ...]:
        """Parts of one kind (in the singular), by id."""
        return self.parts.get(kind, ())

    @property
    def kinds(self) -> tuple[str, ...]:
        """The kinds that the catalogue holds, in their fixed order."""
        return tuple(self.parts)

    def frame(self) -> pandas.DataFrame:
        """One row a part: kind, id, name, price, on_shelf, fits, and each dimension as it is written."""
        import pandas

        rows = []
        for part in self:
            row = {"kind": part.kind, "id": part.id, "name": part.name, "price": part.price, "on_shelf": part.on_shelf}
            row["fits"] = " ".join(part.fits)
            rows.append(row | {name: str(value) for name, value in part.quantities()})
        return pandas.DataFrame(rows)
