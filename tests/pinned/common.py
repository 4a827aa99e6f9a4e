"""Inputs by formula and not from a generator, so that they are the same everywhere."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from scipy.special import ndtri

from ratemodel.inference.average import Settings
from ratemodel.records.tables import Series, Specimens

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


def series(
    u, y, *, rating=None, scatter="normal", options=None, diameter_m=None, **columns
) -> Series:
    """Series from log10 rates and ln strengths."""
    u, y = np.asarray(u, float), np.asarray(y, float)
    n = u.size
    blank, none = ("",) * n, np.full(n, np.nan)
    table = {
        "specimen": tuple(f"s{i}" for i in range(n)),
        "strength": np.exp(y),
        "broke": np.ones(n, bool),
        "strain_rate_per_s": 10.0**u,
        "batch": blank,
        "machine": blank,
        "free_length_m": none,
        "strain_at_break": none,
        "preload_fraction": none,
        "preload_cycles": none,
        "temperature_K": none,
        "termination": blank,
        "failure_site": blank,
        "strands_intact": none,
        "excluded": blank,
        "log": blank,
        "note": blank,
        "summary": np.zeros(n, bool),
        "row": tuple(range(2, n + 2)),
    } | columns
    aside = {k: (v[:0] if not isinstance(v, tuple) else ()) for k, v in table.items()}
    return Series(
        "cord",
        Specimens(**table),
        Specimens(**aside),
        rating=rating,
        scatter=scatter,
        options=options or {},
        diameter_m=diameter_m,
    )
