"""Roots of rising functions, all draws at once."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from ratemodel.arrays import FloatArray

_ITERATIONS = 100


def increasing_root(
    value: Callable[[FloatArray], FloatArray],
    slope: Callable[[FloatArray], FloatArray],
    target: FloatArray,
    low: FloatArray,
    high: FloatArray,
) -> FloatArray:
    """Solve ``value(x) = target`` for a non-decreasing function on a bracket, per draw.

    Newton steps, replaced by halving the bracket wherever they would leave it: a slope of zero
    or infinity (a power law at the origin) costs an iteration and nothing else.
    """
    low, high, target = (
        np.array(a, dtype=np.float64) for a in np.broadcast_arrays(low, high, target)
    )
    x = (low + high) / 2
    for _ in range(_ITERATIONS):
        miss = value(x) - target
        over = miss > 0
        high = np.where(over, x, high)
        low = np.where(over, low, x)
        with np.errstate(divide="ignore", invalid="ignore"):
            step = x - miss / slope(x)
        inside = (step >= low) & (step <= high)
        new = np.where(inside, step, (low + high) / 2)
        done = np.abs(new - x) <= 1e-14 * np.abs(x)
        x = new
        if done.all():
            break
    return x


def convex_root(
    value: Callable[[FloatArray], FloatArray],
    slope: Callable[[FloatArray], FloatArray],
    start: FloatArray,
    step: FloatArray,
) -> FloatArray:
    """Largest root of a convex function that ends up positive, per draw.

    From ``start`` the step is doubled until value and slope are positive; from the right of its
    largest root Newton's method on a convex function then comes down without overshoot.
    """
    x = start + step
    for _ in range(200):
        short = (value(x) <= 0) | (slope(x) <= 0)
        if not short.any():
            break
        x = np.where(short, start + 2 * (x - start), x)
    for _ in range(_ITERATIONS):
        with np.errstate(divide="ignore", invalid="ignore"):
            move = value(x) / slope(x)
        move = np.where(np.isfinite(move), move, 0.0)
        new = np.maximum(x - move, start)
        done = np.abs(new - x) <= 1e-14 * np.abs(x)
        x = new
        if done.all():
            break
    return x
