"""Leave-one-rate-out stacking: weights by how well each model predicts a rate it has not seen.

An alternative to posterior model probabilities (Yao, Vehtari, Simpson & Gelman 2018, Bayesian
Analysis 13:917). Kept for comparison: with two or three rates it has little to learn from.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from scipy.special import logsumexp

from ratemodel.arrays import FloatArray
from ratemodel.inference.data import subset
from ratemodel.inference.ratefit import ModelFit, RateFit


def stacking_weights(fit: RateFit, refit: Callable[[RateFit], RateFit]) -> FloatArray:
    """Weights (models,) that maximise the mean log predictive density of left-out rates.

    Parameters
    ----------
    fit : RateFit
        With its data and models.
    refit : callable
        Runs the same models on another ``fit.data``.
    """
    from dataclasses import replace

    rows = []
    for k, rate in enumerate(fit.data.rates):
        near = fit.data.speed == k
        rest = subset(fit.data, ~near)
        if not rest.broke.any() or not (near & fit.data.broke).any():
            continue
        part = refit(replace(fit, data=rest))
        y = fit.data.y[near & fit.data.broke]
        told = {m.model.name: _log_density(m, float(rate), y) for m in part.models}
        # a model that fails without this rate predicts it as badly as the worst
        rows.append([told.get(m.model.name, min(told.values())) for m in fit.models])
    table = np.array(rows)
    if table.size == 0:
        return np.full(len(fit.models), 1.0 / len(fit.models))
    return _maximise(table)


def _log_density(model: ModelFit, u: float, y: FloatArray) -> float:
    """ln predictive density of the mean of specimens at a rate, normal scatter."""
    at = np.array([u])
    mean = model.draws.mean_ln(at)[:, 0]
    sd = model.draws.sigma_at(at)[:, 0] / np.sqrt(y.size)
    z = (y.mean() - mean) / sd
    return float(logsumexp(-0.5 * z**2 - np.log(sd)) - np.log(mean.size))


def _maximise(table: FloatArray, steps: int = 400) -> FloatArray:
    """Expectation-maximisation over the simplex: concave, no step size to choose."""
    density = np.exp(table - table.max(axis=1, keepdims=True))
    w = np.full(table.shape[1], 1.0 / table.shape[1])
    for _ in range(steps):
        part = density * w
        w = (part / part.sum(axis=1, keepdims=True)).mean(axis=0)
    return w
