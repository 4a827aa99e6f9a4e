"""Inputs by formula and not from a generator, so that they are the same everywhere."""

from __future__ import annotations

from collections.abc import Callable

import made
import numpy as np
from scipy.special import ndtri

from ratemodel.inference.average import Settings
from ratemodel.records.tables import Series

SCENES: dict[str, Callable[[], object]] = {}
QUICK = Settings(draws=2000, points=256)
GOLDEN = (5**0.5 - 1) / 2


def scene(make: Callable[[], object]) -> Callable[[], object]:
    SCENES[make.__name__] = make
    return make


def even(n: int, start: float = 0.5) -> np.ndarray:
    """Numbers spread over 0 to 1 in a fixed order."""
    return (start + np.arange(1, n + 1) * GOLDEN) % 1


def noise(n: int, sd: float = 0.02, start: float = 0.5) -> np.ndarray:
    return sd * ndtri(even(n, start))


def rng(seed: int = 1) -> np.random.Generator:
    return np.random.default_rng(seed)


def series(u, y, *, options=None, **columns) -> Series:
    """Series from log10 rates and ln strengths; columns of the table or fields of the series."""
    fields = {k: columns.pop(k) for k in ("rating", "scatter", "diameter_m") if k in columns}
    return made.series(u, y, extra=columns, options=options or {}, **fields)
