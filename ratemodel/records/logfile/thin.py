"""Thin a long signal without losing an extreme."""

from __future__ import annotations

import numpy as np

from ratemodel.arrays import FloatArray, IntArray


def extremes(values: FloatArray, blocks: int) -> IntArray:
    """Return where the lowest and highest sample of each of some equal blocks lie.

    Sorted; first and last sample are always among them. Everything comes back where there are
    fewer than four samples to a block.

    Examples
    --------
    >>> extremes(np.array([0.0, 1, 2, 9, 4, 3, 2, 1, 0, 0, 0, 5]), 2).tolist()
    [0, 3, 8, 11]
    """
    n = len(values)
    size = n // blocks
    if size < 4:
        return np.arange(n, dtype=np.int64)
    whole = (n // size) * size
    table = values[:whole].reshape(-1, size)
    start = np.arange(0, whole, size)
    parts = [start + table.argmin(axis=1), start + table.argmax(axis=1), np.array([0, n - 1])]
    if whole < n:
        rest = values[whole:]
        parts.append(np.array([whole + rest.argmin(), whole + rest.argmax()]))
    return np.unique(np.concatenate(parts)).astype(np.int64)
