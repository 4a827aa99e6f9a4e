"""Logs too long to hold: thinned chunk by chunk, kept whole around the highest force."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ratemodel.arrays import FloatArray
from ratemodel.errors import Problem
from ratemodel.records.logfile.thin import extremes
from ratemodel.records.logfile.timeaxis import TimeCheck

CHUNK_ROWS = 500_000
_BLOCKS = 4_000
_MOST_KEPT = 1_000_000

_Chunk = tuple[FloatArray, ...]


class Thinner:
    """Receives chunks in order; memory stays bounded whatever the length of the log.

    Each chunk keeps the lowest and highest force of short blocks. The chunk with the highest
    force so far and its two neighbours are kept whole, so that the peak, its slope and the
    sample interval there are read as recorded.
    """

    def __init__(self, *, force: int, time: int) -> None:
        self.force, self.time = force, time
        self.rows = 0
        self._thin: list[_Chunk] = []
        self._whole: dict[int, _Chunk] = {}
        self._previous: _Chunk | None = None
        self._highest = -np.inf
        self._at = -1
        self.clock = TimeCheck()

    def add(self, arrays: Sequence[FloatArray]) -> None:
        """Take the next chunk."""
        self.rows += len(arrays[0])
        keep = np.all(np.isfinite(np.stack(arrays)), axis=0)
        chunk: _Chunk = tuple(arrays) if keep.all() else tuple(a[keep] for a in arrays)
        if not len(chunk[0]):
            return
        number = len(self._thin)
        force = np.abs(chunk[self.force])
        self.clock.add(chunk[self.time], chunk[self.force])
        if force.max() > self._highest:
            self._highest, self._at = float(force.max()), number
            self._whole = {number: chunk}
            if self._previous is not None:
                self._whole[number - 1] = self._previous
        elif number == self._at + 1:
            self._whole[number] = chunk
        self._previous = chunk
        index = extremes(chunk[self.force], _BLOCKS)
        self._thin.append(tuple(a[index] for a in chunk))
        while sum(len(c[0]) for c in self._thin) > _MOST_KEPT:
            self._halve()

    def _halve(self) -> None:
        for number, chunk in enumerate(self._thin):
            index = extremes(chunk[self.force], max(len(chunk[0]) // 8, 1))
            self._thin[number] = tuple(a[index] for a in chunk)

    def result(self) -> tuple[_Chunk, tuple[Problem, ...]]:
        """Return the thinned log in the order of the file, and what is to be said about it."""
        chunks = [self._whole.get(i, c) for i, c in enumerate(self._thin)]
        if not chunks:
            return (), ()
        arrays = tuple(np.concatenate([c[k] for c in chunks]) for k in range(len(chunks[0])))
        message = (
            f"{self.rows} samples were thinned to {len(arrays[0])}: lowest and highest force of"
            " short blocks, everything around the highest force; strand breaks far from it may"
            " go unseen"
        )
        return arrays, (Problem("log-thinned", message, "note"),)
