"""Factors of many small matrices at once, where one that can not be factored spoils only itself."""

from __future__ import annotations

import numpy as np

from ratemodel.arrays import BoolArray, FloatArray


def cholesky_each(a: FloatArray) -> tuple[FloatArray, BoolArray]:
    """Cholesky factor of each matrix, shape (H, P, P), and which have one, shape (H,).

    A matrix without a factor (singular in floating point, or not finite) gets the identity, so
    that what is computed from it stays finite; its point must be given no weight.

    Examples
    --------
    >>> factor, sound = cholesky_each(np.array([[[4.0]], [[-1.0]]]))
    >>> factor.ravel(), sound
    (array([2., 1.]), array([ True, False]))
    """
    try:
        factor = np.asarray(np.linalg.cholesky(a), dtype=np.float64)
    except np.linalg.LinAlgError:
        factor = np.stack([_or_nan(one) for one in a])
    sound = np.asarray(np.isfinite(factor).all(axis=(1, 2)), dtype=np.bool_)
    if not sound.all():
        factor[~sound] = np.eye(a.shape[1])
    return factor, sound


def solve_each(a: FloatArray, b: FloatArray) -> FloatArray:
    """Solution of each system, shape (H, P); 0 where a matrix is singular.

    Examples
    --------
    >>> solve_each(np.array([[[4.0]], [[0.0]]]), np.array([[2.0], [2.0]])).ravel()
    array([0.5, 0. ])
    """
    try:
        return np.asarray(np.linalg.solve(a, b[:, :, None])[:, :, 0], dtype=np.float64)
    except np.linalg.LinAlgError:
        return np.stack([_solved(x, y) for x, y in zip(a, b, strict=True)])


def _or_nan(a: FloatArray) -> FloatArray:
    try:
        return np.asarray(np.linalg.cholesky(a), dtype=np.float64)
    except np.linalg.LinAlgError:
        return np.full_like(a, np.nan)


def _solved(a: FloatArray, b: FloatArray) -> FloatArray:
    try:
        return np.asarray(np.linalg.solve(a, b), dtype=np.float64)
    except np.linalg.LinAlgError:
        return np.zeros_like(b)
