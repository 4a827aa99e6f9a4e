"""Covariance of a least-squares optimum: central differences and a QR factorisation."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from ratemodel.arrays import FloatArray


@dataclass(frozen=True)
class Covariance:
    """Covariance matrix with what could not be determined.

    Attributes
    ----------
    matrix : ndarray, shape (k, k)
        Covariance; NaN rows and columns for undetermined parameters.
    undetermined : tuple of int
        Indices of parameters along which the curve does not change, alone or together.
    condition : float
        Condition number of the Jacobian with columns scaled to unit length.
    """

    matrix: FloatArray
    undetermined: tuple[int, ...]
    condition: float


def jacobian(
    f: Callable[[FloatArray], FloatArray], at: FloatArray, bounds: FloatArray | None = None
) -> FloatArray:
    """Differentiate ``f`` by central differences, extrapolated once; shape (n, k).

    Two step sizes are combined (Richardson), which leaves an error of order h⁴. Near a bound the
    step shrinks; on a bound the difference is one-sided.
    """
    columns = []
    for j, value in enumerate(at):
        h = 1e-3 * (abs(value) if value != 0 else 1e-2)
        if bounds is not None:
            room = min(value - bounds[j, 0], bounds[j, 1] - value)
            h = min(h, room / 2) if room > 1e-9 * h else h
            if room <= 1e-9 * h:
                columns.append(_one_sided(f, at, j, h if value <= bounds[j, 0] else -h))
                continue
        coarse, fine = _central(f, at, j, h), _central(f, at, j, h / 2)
        columns.append((4 * fine - coarse) / 3)
    return np.stack(columns, axis=1)


def _shifted(at: FloatArray, j: int, step: float) -> FloatArray:
    out = at.copy()
    out[j] += step
    return out


def _central(f: Callable[[FloatArray], FloatArray], at: FloatArray, j: int, h: float) -> FloatArray:
    up, down = _shifted(at, j, h), _shifted(at, j, -h)
    return np.asarray((f(up) - f(down)) / (up[j] - down[j]))


def _one_sided(
    f: Callable[[FloatArray], FloatArray], at: FloatArray, j: int, h: float
) -> FloatArray:
    near, far = _shifted(at, j, h / 2), _shifted(at, j, h)
    return np.asarray((4 * f(near) - f(far) - 3 * f(at)) / h)


def covariance_from(jac: FloatArray, variance: float) -> Covariance:
    """Covariance ``variance * (JᵀJ)⁻¹`` without forming JᵀJ.

    Columns are scaled to unit length before the factorisation, so that parameters in different
    units do not spoil the rank decision.
    """
    length = np.linalg.norm(jac, axis=0)
    dead = ~(length > 0) | ~np.isfinite(length)
    scaled = jac[:, ~dead] / length[~dead]
    undetermined = list(np.flatnonzero(dead))
    matrix = np.full((jac.shape[1], jac.shape[1]), np.nan)
    condition = np.inf
    if scaled.shape[1]:
        _, s, vt = np.linalg.svd(scaled, full_matrices=False)
        condition = float(s[0] / s[-1]) if s[-1] > 0 else np.inf
        keep = np.flatnonzero(~dead)
        if condition < 1e10:
            r_inverse = np.linalg.inv(np.linalg.qr(scaled, mode="r")) / length[~dead][:, None]
            matrix[np.ix_(keep, keep)] = variance * (r_inverse @ r_inverse.T)
        else:
            weak = np.any(np.abs(vt[s < s[0] * 1e-10]) > 0.05, axis=0)
            undetermined += list(keep[weak])
    if dead.any():
        condition = np.inf
    return Covariance(matrix, tuple(sorted(int(i) for i in undetermined)), condition)


def relative_offset(jac: FloatArray, residual: FloatArray) -> float:
    """Relative offset of an optimum (Bates & Watts 1981); 0 where the residuals are orthogonal.

    NaN columns or too few observations give 0: other checks speak there.
    """
    n, k = jac.shape
    length = np.linalg.norm(jac, axis=0)
    good = (length > 0) & np.isfinite(length)
    if n <= k or not good.any():
        return 0.0
    q = np.linalg.qr(jac[:, good] / length[good])[0]
    inside = q.T @ residual
    outside = residual - q @ inside
    rest = float(np.linalg.norm(outside)) / np.sqrt(n - k)
    return float(np.linalg.norm(inside) / np.sqrt(k) / rest) if rest > 0 else 0.0
