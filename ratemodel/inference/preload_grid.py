"""Marginal likelihood of a preload model on a grid of shape and scatter; exact draws per cell."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import product

import numpy as np
from scipy.special import log_ndtr, ndtr, ndtri

from ratemodel.arrays import FloatArray
from ratemodel.errors import InputError
from ratemodel.models.preload import PreloadModel

_SCATTERS = 48


@dataclass(frozen=True)
class PreloadData:
    """Breaking strengths after preload cycling, one entry per specimen, all at one rate.

    Attributes
    ----------
    strength_N : ndarray, shape (n,)
        Peak force of specimens that broke (or specific strength).
    cycles, fraction : ndarray, shape (n,)
        Preload cycles and their level as a fraction of the strength; 0, 0 = none.
    batch : tuple of str
        Spool or session; empty = not known.
    unbroken : int
        Specimens left out because they did not break.
    """

    strength_N: FloatArray
    cycles: FloatArray
    fraction: FloatArray
    batch: tuple[str, ...] = ()
    unbroken: int = 0

    def __post_init__(self) -> None:
        columns = [
            np.array(c, dtype=np.float64) for c in (self.strength_N, self.cycles, self.fraction)
        ]
        s, n, q = columns
        if not (s.ndim == 1 and s.shape == n.shape == q.shape) or len(self.batch) not in (
            0,
            len(s),
        ):
            raise InputError("columns of the cycling table differ in length", "one per specimen")
        if not np.all(np.isfinite(s) & (s > 0) & (n >= 0) & (q >= 0) & (q <= 1.5)):
            raise InputError(
                "a strength, number of cycles or preload fraction is out of range",
                "strengths above 0, cycles of 0 or more, fractions from 0 to 1.5",
            )
        for name, column in zip(("strength_N", "cycles", "fraction"), columns, strict=True):
            object.__setattr__(self, name, column)


@dataclass(frozen=True)
class Priors:
    """Priors of the preload models.

    Attributes
    ----------
    no_effect : float
        Prior probability that cycling has no effect; the other two models share the rest.
    gain_sd : float
        Standard deviation of the gain g of ln S at q = 1, mean 0: a loss is as likely.
    damage_sd : float
        Scale of the damage d per cycle at q = 1, half-normal.
    batch_sd : float
        Standard deviation of ln S between batches, taken as known; used where there are several.
    settle : tuple of float
        N_s: equal odds.
    level_exponent, damage_exponent : tuple of float
        m and s: equal odds.
    """

    no_effect: float = 0.5
    gain_sd: float = 0.10
    damage_sd: float = 0.005
    batch_sd: float = 0.02
    settle: tuple[float, ...] = (0.3, 0.5, 0.8, 1.3, 2.0, 3.0, 5.0, 8.0, 13.0, 20.0, 35.0)
    level_exponent: tuple[float, ...] = (0.5, 1.0, 2.0, 3.0, 4.0)
    damage_exponent: tuple[float, ...] = (1.0, 2.0, 4.0, 8.0)

    def in_words(self) -> Mapping[str, str]:
        """Every prior as a line of text."""
        return {
            "models": f"no effect {self.no_effect:g}, the two others the rest in equal parts",
            "ln_strength": "flat",
            "gain": f"normal, mean 0, sd {self.gain_sd:g}",
            "damage": f"half-normal, scale {self.damage_sd:g} per cycle at q = 1",
            "cycles_to_settle": "equal odds on " + ", ".join(f"{v:g}" for v in self.settle),
            "level_exponent": "equal odds on " + ", ".join(f"{v:g}" for v in self.level_exponent),
            "damage_exponent": "equal odds on " + ", ".join(f"{v:g}" for v in self.damage_exponent),
            "scatter": "flat on its logarithm",
            "batch": f"normal, sd {self.batch_sd:g}, where several batches are named",
        }


@dataclass(frozen=True)
class Grid:
    """A model evaluated on its grid.

    Attributes
    ----------
    index : int
        Number of linear parameters beside the intercept: 0, 1 or 2 names the model.
    shapes : ndarray, shape (g, 3)
        N_s, m, s.
    scatters : ndarray, shape (j,)
        Grid of the scatter.
    log_evidence : ndarray, shape (j, g)
        ln of the integral over the linear parameters, times the prior odds of the cell.
    mean : ndarray, shape (j, g, p)
        Posterior means of the linear parameters (a, g, d).
    covariance : ndarray, shape (j, g, p, p)
        Their covariance before truncation of d.
    """

    index: int
    shapes: FloatArray
    scatters: FloatArray
    log_evidence: FloatArray
    mean: FloatArray
    covariance: FloatArray


def evaluate(model: PreloadModel, data: PreloadData, priors: Priors) -> Grid:
    """Integrate the linear parameters of a model over every cell of its grid.

    For a cell: y = X b + e, e ~ N(0, V), V = scatter**2 I + batch_sd**2 (same batch), flat on a,
    normal on g and d; then b is normal with precision X'V⁻¹X + P, and d is truncated at 0.

    References
    ----------
    O'Hagan & Forster, Bayesian Inference (2004), chapter 11 (linear model, normal priors).
    """
    levels = (priors.settle, priors.level_exponent, priors.damage_exponent)
    used = len(model.shape)
    shapes = np.array(list(product(*levels[:used]))) if used else np.ones((1, 0))
    y = np.log(data.strength_N)
    x = mean_design(model, data, shapes)
    p = x.shape[-1]
    precision = np.diag([0.0, priors.gain_sd**-2, priors.damage_sd**-2][:p])
    scatters = _scatter_grid(y, data)
    out_e = np.empty((len(scatters), len(shapes)))
    out_m = np.empty((len(scatters), len(shapes), p))
    out_c = np.empty((len(scatters), len(shapes), p, p))
    for j, scatter in enumerate(scatters):
        v = _covariance(data, float(scatter), priors.batch_sd)
        root = np.linalg.cholesky(v)
        xw = np.linalg.solve(root, x)
        yw = np.linalg.solve(root, y - y.mean())
        lam = np.swapaxes(xw, 1, 2) @ xw + precision
        cov = np.linalg.inv(lam)
        right = np.swapaxes(xw, 1, 2) @ yw
        mean = np.einsum("gij,gj->gi", cov, right)
        log_e = 0.5 * np.einsum("gi,gi->g", mean, right) - 0.5 * float(yw @ yw)
        log_e = log_e - np.log(np.diag(root)).sum() + 0.5 * np.linalg.slogdet(cov)[1]
        log_e = log_e + 0.5 * np.log(np.diag(precision)[1:]).sum()
        if p == 3:
            log_e = log_e + np.log(2.0) + log_ndtr(mean[:, 2] / np.sqrt(cov[:, 2, 2]))
        out_e[j], out_m[j], out_c[j] = log_e - np.log(len(shapes)), mean, cov
    out_m[..., 0] += y.mean()
    padded = np.ones((len(shapes), 3))
    padded[:, :used] = shapes
    return Grid(p - 1, padded, scatters, out_e, out_m, out_c)


def mean_design(model: PreloadModel, data: PreloadData, shapes: FloatArray) -> FloatArray:
    """Design arrays (g, n, p): intercept, then the model's columns."""
    columns = model.columns(data.cycles, data.fraction, shapes)
    ones = np.ones((len(shapes), len(data.cycles)))
    return np.stack([ones, *columns], axis=-1)


def draw_cells(grid: Grid, draws: int, rng: np.random.Generator) -> FloatArray:
    """Joint draws, shape (draws, 8): a, g, d, N_s, m, s, scatter, model."""
    flat = grid.log_evidence.ravel()
    w = np.exp(flat - flat.max())
    cell = rng.choice(len(flat), size=draws, p=w / w.sum())
    j, g = np.unravel_index(cell, grid.log_evidence.shape)
    mean, cov = grid.mean[j, g], grid.covariance[j, g]
    p = mean.shape[1]
    # Last parameter first, so that the damage can be truncated at 0 and the rest follow it.
    order = np.arange(p)[::-1]
    root = np.linalg.cholesky(cov[:, order][:, :, order])
    z = rng.standard_normal((draws, p))
    if p == 3:
        floor = ndtr(-mean[:, 2] / root[:, 0, 0])
        u = floor + (1.0 - floor) * rng.uniform(size=draws)
        z[:, 0] = ndtri(np.clip(u, 1e-300, 1.0 - 1e-16))
    b = mean[:, order] + np.einsum("nij,nj->ni", root, z)
    out = np.zeros((draws, 8))
    out[:, :p] = b[:, order]
    if p == 3:
        out[:, 2] = np.maximum(out[:, 2], 0.0)
    out[:, 3:6] = grid.shapes[g]
    ratio = grid.scatters[1] / grid.scatters[0]
    out[:, 6] = grid.scatters[j] * ratio ** rng.uniform(-0.5, 0.5, draws)
    out[:, 7] = grid.index
    return out


def _scatter_grid(y: FloatArray, data: PreloadData) -> FloatArray:
    """Even in ln, from well below the scatter within protocols to well above that overall."""
    key = np.stack([data.cycles, data.fraction], axis=1)
    _, group = np.unique(key, axis=0, return_inverse=True)
    group = group.ravel()
    inside = y - np.array([y[group == k].mean() for k in range(group.max() + 1)])[group]
    dof = len(y) - group.max() - 1
    low = np.sqrt(float(inside @ inside) / dof) if dof > 0 else float(y.std()) / 4
    high = float(y.std(ddof=1))
    if not high > 0:
        raise InputError("all strengths are equal", "measured strengths, which scatter")
    low = max(low, 0.05 * high)
    return np.asarray(np.geomspace(0.4 * low, 4.0 * max(high, low), _SCATTERS), dtype=np.float64)


def _covariance(data: PreloadData, scatter: float, batch_sd: float) -> FloatArray:
    n = len(data.strength_N)
    v = scatter**2 * np.eye(n)
    if len(set(data.batch)) > 1:
        names = np.array(data.batch)
        v = v + batch_sd**2 * (names[:, None] == names[None, :])
    return np.asarray(v, dtype=np.float64)
