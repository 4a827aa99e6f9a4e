"""Joint draws of creep parameters, and how many independent readings a curve is worth."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from ratemodel.arrays import BoolArray, FloatArray
from ratemodel.errors import NotIdentifiedError, Problem
from ratemodel.inference.covariance import jacobian
from ratemodel.inference.importance import importance_draws
from ratemodel.inference.leastsq import BestFit
from ratemodel.models.creep_base import CreepModel, CreepPoints

_CHUNK = 2_000_000  # numbers held at once


def effective_readings(residual: FloatArray, points: CreepPoints, parameters: int) -> float:
    """Independent readings that correlated residuals are worth.

    n (1 - r)/(1 + r) with r the correlation of neighbours inside a curve, where it is beyond
    chance (two standard errors); at least three more than there are parameters.

    References
    ----------
    Bayley & Hammersley, J. R. Stat. Soc. (suppl.) 8 (1946) 184 (first-order correlation).
    """
    n = len(residual)
    # A new curve starts where time falls back or the condition changes.
    new = (np.diff(points.time_s) < 0) | (np.diff(points.load_ratio) != 0)
    new |= np.diff(points.temperature_ratio) != 0
    inside = ~new
    total = float(residual @ residual)
    if total <= 0 or not inside.any():
        return float(n)
    r = float(np.sum((residual[:-1] * residual[1:])[inside])) / total
    # Fitting k parameters pushes r down by about k/n: give it back.
    r = min(r + parameters / n, 0.999)
    if r <= 2.0 / np.sqrt(n) + parameters / n:
        return float(n)
    return float(max(n * (1 - r) / (1 + r), parameters + 3.0))


def draw_creep(
    model: CreepModel,
    best: BestFit,
    data: tuple[CreepPoints, FloatArray],
    worth: float,
    sampling: tuple[int, np.random.Generator],
) -> tuple[Mapping[str, FloatArray], tuple[Problem, ...]]:
    """Joint draws of every parameter, shape (draws, 1) each."""
    points, strain = data
    names = tuple(p.name for p in model.parameters)
    space = _Space(model, best, points, names)
    at = space.from_values(best.values)

    def predicted(x: FloatArray) -> FloatArray:
        return np.asarray(model.curve(space.values(x[None, :]), points)[0], dtype=np.float64)

    rss0 = max(best.sum_of_squares, 1e-30)
    variance = rss0 / max(worth - len(best.free), 1.0)
    jac = jacobian(predicted, at)
    # Away from the optimum the readings say nothing beyond the bounds: their width is a floor.
    precision = jac.T @ jac * (worth / len(strain)) / variance + np.diag(space.width**-2.0)
    scale = 1.0 / np.sqrt(np.diag(precision))
    covariance = np.linalg.inv(precision * np.outer(scale, scale)) * np.outer(scale, scale)
    rows = max(1, _CHUNK // len(strain))

    def log_density(x: FloatArray) -> FloatArray:
        out = np.full(len(x), -np.inf)
        for i in range(0, len(x), rows):
            part = x[i : i + rows]
            values = space.values(part)
            r = np.asarray(model.curve(values, points)) - strain
            rss = np.einsum("ij,ij->i", r, r)
            inside = space.inside(values) & np.isfinite(rss)
            with np.errstate(divide="ignore"):
                value = -0.5 * worth * np.log(rss / rss0)
            out[i : i + rows] = np.where(inside, value, -np.inf)
        return out

    draws, rng = sampling
    joint = importance_draws(log_density, at, covariance, draws=draws, rng=rng)
    values = space.values(joint.values)
    full = {k: np.broadcast_to(np.asarray(v), (draws, 1)).copy() for k, v in values.items()}
    return full, joint.problems


class _Space:
    """Working coordinates of the fitted parameters; fixed and constrained ones follow."""

    def __init__(
        self, model: CreepModel, best: BestFit, points: CreepPoints, names: tuple[str, ...]
    ) -> None:
        self.model, self.time_s, self.free = model, points.reference_time_s, best.free
        self.fixed = {k: v for k, v in best.values.items() if k not in best.free}
        self.lmfit = best.lmfit_result.params
        self.tied = [k for k in self.fixed if k in self.lmfit and self.lmfit[k].expr]
        # The better-shaped coordinates mix parameters, so they serve only when none of those is
        # held by the user.
        held = {"load_exponent", "activation_energy", "energy1", "energy2"}
        self.mixed = set(names) - set(self.free) <= held
        if any(k not in names for k in self.free):
            raise NotIdentifiedError(
                "joint draws need every fitted parameter to be one of the model's own; express "
                "the constraint in those"
            )
        self.bounds = {k: (float(self.lmfit[k].min), float(self.lmfit[k].max)) for k in self.free}
        if "tau" in self.bounds:
            # A time constant far outside the readings is the same for all of them.
            low, high = self.bounds["tau"]
            first, last = float(points.time_s.min()), float(points.time_s.max())
            self.bounds["tau"] = (max(low, 1e-3 * first), min(high, 1e3 * last))
        self.width = np.array([self._span(k) for k in self.free])

    def _span(self, name: str) -> float:
        low, high = self.bounds[name]
        if self.mixed and name in ("tau", "volume1", "volume2"):
            low, high = np.log(low), np.log(high)
        return float(high - low) if np.isfinite(high - low) else 1e3

    def from_values(self, values: Mapping[str, float]) -> FloatArray:
        """Coordinates (k,) of one set of parameters."""
        if self.mixed:
            working = self.model.to_working(values, self.time_s)
            return np.array([float(working[k]) for k in self.free])
        return np.array([values[k] for k in self.free])

    def values(self, x: FloatArray) -> dict[str, FloatArray]:
        """Parameters, shape (m, 1) each, of coordinates (m, k)."""
        out: dict[str, FloatArray] = {k: np.full((len(x), 1), v) for k, v in self.fixed.items()}
        out |= {k: x[:, j : j + 1] for j, k in enumerate(self.free)}
        with np.errstate(all="ignore"):
            if self.mixed:
                out = dict(self.model.from_working(out, self.time_s))
        if self.tied:
            out = self._constrained(out, len(x))
        return out

    def _constrained(self, out: dict[str, FloatArray], rows: int) -> dict[str, FloatArray]:
        trial = self.lmfit.copy()
        for i in range(rows):
            for k in self.free:
                trial[k].value = float(out[k][i, 0])
            trial.update_constraints()
            for k in self.tied:
                out[k][i, 0] = float(trial[k].value)
        return out

    def inside(self, values: Mapping[str, FloatArray]) -> BoolArray:
        """Tell where every fitted parameter lies within its bounds, shape (m,)."""
        checks = [
            (values[k][:, 0] >= low) & (values[k][:, 0] <= high)
            for k, (low, high) in self.bounds.items()
        ]
        return np.asarray(np.logical_and.reduce(checks))
