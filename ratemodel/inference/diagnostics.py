"""Checks of a rate fit against its own data: misfit, residuals, leave-one-rate-out, scatter."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.special import fdtrc

from ratemodel.arrays import FloatArray, IntArray
from ratemodel.errors import Problem
from ratemodel.inference.data import RateData, subset
from ratemodel.inference.draws import ModelDraws
from ratemodel.inference.ratefit import RateFit
from ratemodel.inference.scatter import standard_quantile


@dataclass(frozen=True)
class LackOfFit:
    """F test of a model's misfit at the tested rates against pure error.

    ``f`` is None where no degrees of freedom are left to test with.
    """

    model: str
    f: float | None
    dof: tuple[int, int]
    p: float | None


@dataclass(frozen=True)
class GroupResidual:
    """Mean residual of ln S of one machine or spool, and how many specimens it has."""

    kind: str
    name: str
    mean: float
    specimens: int


@dataclass(frozen=True)
class LeftOut:
    """What the other rates say of one rate, against what was measured there.

    ``z`` is the difference over its standard deviation (prediction and measured mean together).
    """

    strain_rate_per_s: float
    predicted_ln: float
    measured_ln: float
    z: float


@dataclass(frozen=True)
class ScatterCheck:
    """Standard deviation of ln S at one rate and the probability of one as large or larger."""

    strain_rate_per_s: float
    sd: float
    p_larger: float


@dataclass(frozen=True)
class Diagnostics:
    """All checks of one fit, and the findings that follow."""

    lack_of_fit: tuple[LackOfFit, ...]
    residuals: tuple[GroupResidual, ...]
    left_out: tuple[LeftOut, ...]
    scatter: tuple[ScatterCheck, ...]
    problems: tuple[Problem, ...]


def diagnose(fit: RateFit, *, rng: np.random.Generator) -> Diagnostics:
    """Run every check; refits the models once per tested rate, with fewer draws."""
    tests = tuple(lack_of_fit(fit, j) for j in range(len(fit.models)))
    left = leave_one_rate_out(fit, rng) if fit.data.rates.size > 1 else ()
    scatter = scatter_check(fit, rng)
    found = []
    best = int(np.argmax([m.weight for m in fit.models]))
    p = tests[best].p
    if p is not None and p < 0.01:
        found.append(Problem(
            "lack-of-fit",
            f"even {tests[best].model}, the likeliest model, misses the means at the tested rates "
            f"by more than the scatter explains (F test, p = {p:.2g})",
            "serious",
        ))  # fmt: skip
    for check in scatter:
        if min(check.p_larger, 1 - check.p_larger) < 0.005:
            found.append(Problem(
                "scatter-not-reproduced",
                f"the scatter at {check.strain_rate_per_s:.2g} /s ({100 * check.sd:.1f} %) is not "
                f"what the model expects (probability of a larger one {check.p_larger:.3f})",
                "caution",
            ))  # fmt: skip
    return Diagnostics(tests, residuals(fit), left, scatter, tuple(found))


def lack_of_fit(fit: RateFit, index: int) -> LackOfFit:
    """F test of one model, least squares at its best shape among the draws.

    Pure error is the scatter within cells of equal rate; censored specimens are left out, spools
    and machines are not separated (Draper & Smith, Applied Regression Analysis, 3rd ed. 1998,
    section 2.1).
    """
    draws = fit.models[index].draws
    data = fit.data
    y, u = data.y[data.broke], data.u[data.broke]
    cells = np.unique(data.speed[data.broke], return_inverse=True)[1].reshape(-1)
    count = np.bincount(cells)
    means = np.bincount(cells, weights=y) / count
    where = np.bincount(cells, weights=u) / count
    pure = float(((y - means[cells]) ** 2).sum())
    k = len(draws.model.linear) + len(draws.model.shape)
    dof = (int(count.size - k), int(y.size - count.size))
    if dof[0] < 1 or dof[1] < 1 or pure <= 0:
        return LackOfFit(draws.model.name, None, dof, None)
    misfit = _least_misfit(draws, where, means, count.astype(float))
    f = misfit / dof[0] / (pure / dof[1])
    return LackOfFit(draws.model.name, f, dof, float(fdtrc(*dof, f)))


def table_lack_of_fit(means: FloatArray, fitted: FloatArray, sds: FloatArray, counts: FloatArray,
                      parameters: int) -> tuple[float, tuple[int, int], float]:  # fmt: skip
    """F, degrees of freedom and p from a published table of means, deviations and counts.

    F = [sum n (mean - fitted)^2 / (groups - parameters)] / [sum (n - 1) s^2 / sum (n - 1)].
    """
    dof = (int(means.size - parameters), int(counts.sum() - means.size))
    pure = float(((counts - 1) * sds**2).sum()) / dof[1]
    f = float((counts * (means - fitted) ** 2).sum()) / dof[0] / pure
    return f, dof, float(fdtrc(*dof, f))


def _least_misfit(draws: ModelDraws, u: FloatArray, means: FloatArray, count: FloatArray) -> float:
    """Smallest weighted sum of squares of cell means over the shapes among the draws."""
    shapes = np.unique(draws.shape, axis=0)
    shapes = shapes[:: max(1, shapes.shape[0] // 300)]
    design = draws.model.design(u, shapes)
    target = means - draws.model.offset(u, shapes)
    root = np.sqrt(count)
    best = np.inf
    for x, t in zip(design, np.broadcast_to(target, design.shape[:2]), strict=True):
        beta = np.linalg.lstsq(x * root[:, None], t * root, rcond=None)[0]
        best = min(best, float(((t - x @ beta) ** 2 * count).sum()))
    return best


def residuals(fit: RateFit) -> tuple[GroupResidual, ...]:
    """Mean residual from the averaged curve, by machine and by spool (broken specimens)."""
    data = fit.data
    gap = data.y - np.median(fit.take(np.arange(min(4000, fit.owner.size))).mean_ln(data.u), axis=0)
    out = []
    groups = (("machine", data.machines, data.machine), ("batch", data.batches, data.batch))
    for kind, names, codes in groups:
        for i, name in enumerate(names):
            mine = (codes == i) & data.broke
            if mine.any():
                out.append(GroupResidual(kind, name, float(gap[mine].mean()), int(mine.sum())))
    return tuple(out)


def leave_one_rate_out(fit: RateFit, rng: np.random.Generator) -> tuple[LeftOut, ...]:
    """Predict the mean at each tested rate from the other rates."""
    from ratemodel.inference.average import Settings, fit_data

    settings = Settings(draws=2048, level=fit.level, bound=fit.bound, points=256)
    out = []
    for k, rate in enumerate(fit.data.rates):
        near = fit.data.speed == k
        mine, rest = near & fit.data.broke, subset(fit.data, ~near)
        if not mine.any() or not rest.broke.any():
            continue
        part = fit_data(replace(fit, data=rest), settings, rng)
        at = np.array([rate])
        predicted = part.mean_ln(at)[:, 0]
        sigma = float(np.median(part.sigma_at(at)))
        spread = np.hypot(float(predicted.std()), sigma / np.sqrt(mine.sum()))
        measured = float(fit.data.y[mine].mean())
        middle = float(np.median(predicted))
        out.append(LeftOut(float(10**rate), middle, measured, (measured - middle) / spread))
    return tuple(out)


def scatter_check(fit: RateFit, rng: np.random.Generator) -> tuple[ScatterCheck, ...]:
    """Posterior predictive check of the standard deviation at each rate with 3 or more breaks.

    Replicates have the same number of specimens from the same spools and machines; the statistic
    is the standard deviation within cells of equal spool, machine and covariates.
    """
    data: RateData = fit.data
    part = fit.take(np.arange(min(2000, fit.owner.size)))
    out = []
    for k, rate in enumerate(data.rates):
        rows = np.flatnonzero((data.speed == k) & data.broke)
        table = np.column_stack([data.batch, data.machine, data.covariates])[rows]
        cells = np.unique(table, axis=0, return_inverse=True)[1].reshape(-1).astype(np.int64)
        dof = rows.size - (int(cells.max()) + 1 if rows.size else 0)
        if dof < 2 or not data.broke[data.speed == k].all():
            continue
        sigma = part.sigma_at(np.array([rate]))
        noise = standard_quantile(rng.uniform(size=(part.owner.size, rows.size)), fit.scatter)
        replicas = np.sqrt(_within(sigma * noise, cells) / dof)
        sd = float(np.sqrt(_within(data.y[None, rows], cells)[0] / dof))
        out.append(ScatterCheck(float(10**rate), sd, float(np.mean(replicas > sd))))
    return tuple(out)


def _within(values: FloatArray, cells: IntArray) -> FloatArray:
    """Sum of squares within cells along the last axis."""
    member = (cells[:, None] == np.arange(int(cells.max()) + 1)).astype(float)
    means = (values @ member) / member.sum(axis=0)
    return np.asarray(((values - means @ member.T) ** 2).sum(axis=-1))
