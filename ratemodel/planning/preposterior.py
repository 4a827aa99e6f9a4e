"""How narrow an answer will be after tests that are not made yet.

Outcomes of the tests are drawn from what is known; for every outcome each part of the mixture is
updated in closed form (its Gaussian, and its weight by the likelihood of the outcome), and the
interval of the answer is read off the new mixture. The average over outcomes is the expected
interval. All designs meet the same states of nature and the same noise, so that designs are
compared without the luck of the draw.

References
----------
Raiffa & Schlaifer, Applied Statistical Decision Theory (1961), preposterior analysis; Chaloner &
Verdinelli, Statist. Sci. 10 (1995) 273, Bayesian experimental design (both from memory).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import gammaincinv, ndtr

from ratemodel.arrays import FloatArray, IntArray
from ratemodel.inference.draws import systematic
from ratemodel.inference.hyper import full_design
from ratemodel.inference.scatter import specimen_quantile
from ratemodel.planning.cells import Cell
from ratemodel.planning.knowledge import Knowledge, Part
from ratemodel.planning.lab import PlanRequest

ROOT_2PI = float(np.sqrt(2 * np.pi))


@dataclass(frozen=True)
class Outlook:
    """Everything needed to foretell the answer's interval for any numbers of specimens.

    G parts of the mixture, K cells, J imagined outcomes.

    Attributes
    ----------
    weight : ndarray, shape (G,)
    cell_mean, sigma : ndarray, shape (G, K)
        Mean of ln S read in a cell, and the scatter within it.
    cell_cov : ndarray, shape (G, K, K)
    cross : ndarray, shape (G, K)
        Covariance of the answer with the cells.
    target_mean, target_var : ndarray, shape (G,)
    owner : ndarray, shape (J,)
        The part that each imagined state of nature comes from.
    truth, noise, chi : ndarray, shape (J, K)
        Means of the cells in that state, standard normals and uniforms for the outcome.
    u : ndarray, shape (K,)
    """

    weight: FloatArray
    cell_mean: FloatArray
    sigma: FloatArray
    cell_cov: FloatArray
    cross: FloatArray
    target_mean: FloatArray
    target_var: FloatArray
    owner: IntArray
    truth: FloatArray
    noise: FloatArray
    chi: FloatArray
    u: FloatArray
    tested: tuple[float, float] | None
    ends: tuple[float, ...]
    discrepancy: float
    level: float

    def departure(self, used: FloatArray) -> float:
        """Variance of the answer from what no law holds, after tests at log10 rates ``used``."""
        known = [*(self.tested or ()), *used.tolist()]
        if not known:
            return 0.0
        beyond = [max(0.0, u - max(known), min(known) - u) for u in self.ends]
        return float(self.discrepancy**2 * sum(beyond))

    def now(self) -> float:
        """Width of the answer's interval before any new test; infinite where nothing is known."""
        if self.tested is None:
            return float("inf")
        var = self.target_var + self.departure(np.zeros(0))
        return float(_width(self.target_mean[None], var, self.weight[None], self.level)[0])


def outlook(request: PlanRequest, knowledge: Knowledge, cells: Sequence[Cell], outcomes: int,
            rng: np.random.Generator) -> Outlook:  # fmt: skip
    """Project what is known onto the cells and onto the question, and imagine outcomes."""
    u = np.array([c.u for c in cells])
    blocks = [_project(request, knowledge, part, cells) for part in knowledge.parts]
    width = max(b[1].shape[2] for b in blocks)
    root = np.concatenate(
        [np.pad(b[1], ((0, 0), (0, 0), (0, width - b[1].shape[2]))) for b in blocks]
    )
    mean = np.concatenate([b[0] for b in blocks])
    sigma = np.concatenate([p.sigma_at(u) for p in knowledge.parts])
    weight = np.concatenate([p.weight for p in knowledge.parts])
    with np.errstate(divide="ignore"):
        owner = systematic(np.log(weight), outcomes, rng)
    z = rng.standard_normal((outcomes, width))
    truth = (mean[owner] + np.einsum("jkp,jp->jk", root[owner], z))[:, :-1]
    cells_root, own = root[:, :-1], root[:, -1]
    question = request.question
    ends: tuple[float, ...] = (question.u,)
    if question.kind == "effect" and question.reference_per_s is not None:
        ends = (question.u, float(np.log10(question.reference_per_s)))
    return Outlook(
        weight, mean[:, :-1], sigma, cells_root @ np.swapaxes(cells_root, 1, 2),
        np.einsum("gkp,gp->gk", cells_root, own), mean[:, -1], (own**2).sum(axis=1), owner, truth,
        rng.standard_normal((outcomes, u.size)), rng.uniform(size=(outcomes, u.size)), u,
        knowledge.tested, ends, knowledge.discrepancy, request.level,
    )  # fmt: skip


def _project(request: PlanRequest, knowledge: Knowledge, part: Part, cells: Sequence[Cell]
             ) -> tuple[FloatArray, FloatArray]:  # fmt: skip
    """Mean (H, K + 1) and root (H, K + 1, P) of the cells' readings and, last, of the answer."""
    setup, question = part.setup, request.question
    at = [c.u for c in cells] + [question.u]
    if question.kind == "effect" and question.reference_per_s is not None:
        at.append(float(np.log10(question.reference_per_s)))
    u = np.array(at)
    design = full_design(setup, u, _effects(knowledge, part, cells, len(at)), part.shape)
    offset = np.broadcast_to(setup.model.offset(u, part.shape), design.shape[:2]).copy()
    k = len(cells)
    if question.kind == "effect":
        design[:, k] -= design[:, k + 1]
        offset[:, k] -= offset[:, k + 1]
        design, offset = design[:, : k + 1], offset[:, : k + 1]
    mean = offset + np.einsum("hkp,hp->hk", design, part.mean)
    if question.kind == "bound":
        spread = part.sigma_at(np.array([question.u]))[:, 0]
        mean[:, k] += specimen_quantile(1 - request.bound.fraction, spread, part.batch_sd,
                                        knowledge.scatter)  # fmt: skip
    return mean, design @ part.root


def _effects(knowledge: Knowledge, part: Part, cells: Sequence[Cell], rows: int) -> FloatArray:
    """Columns of spools, machines and covariates; specimens are spread evenly over the spools."""
    setup, data = part.setup, knowledge.data
    spool_columns = len(data.batches) if setup.spools else 0
    machine_columns = len(data.machines) if setup.machines else 0
    out = np.zeros((rows, spool_columns + machine_columns + len(data.covariate_names)))
    for i, cell in enumerate(cells):
        if setup.spools:
            for spool in knowledge.spools:
                out[i, data.batches.index(spool)] = 1.0 / len(knowledge.spools)
        if setup.machines:
            out[i, spool_columns + data.machines.index(cell.machine.name)] = 1.0
    return out


@dataclass(frozen=True)
class _Updated:
    """Mixtures after each outcome: weights and means (J, G), variances (G,)."""

    weight: FloatArray
    mean: FloatArray
    var: FloatArray


def _update(view: Outlook, specimens: IntArray) -> _Updated:
    used = np.flatnonzero(specimens > 0)
    n = specimens[used].astype(float)
    sigma = view.sigma[:, used]
    cov = view.cell_cov[:, used[:, None], used]
    index = np.arange(used.size)
    cov = cov.copy()
    cov[:, index, index] += sigma**2 / n
    inverse = np.linalg.inv(np.linalg.cholesky(cov))
    own = view.sigma[np.ix_(view.owner, used)]
    reading = view.truth[:, used] + view.noise[:, used] * own / np.sqrt(n)
    gap = reading[None] - view.cell_mean[:, None, used]
    white = gap @ np.swapaxes(inverse, 1, 2)
    gain = (inverse @ view.cross[:, used, None])[:, :, 0]
    log_weight = -0.5 * (white**2).sum(axis=2)
    log_weight += np.log(np.diagonal(inverse, axis1=1, axis2=2)).sum(axis=1)[:, None]
    log_weight += np.log(np.maximum(view.weight, 1e-300))[:, None]
    log_weight += _scatter_seen(view, (used, n), sigma, own)
    log_weight -= log_weight.max(axis=0)
    weight = np.exp(log_weight)
    weight /= weight.sum(axis=0)
    mean = view.target_mean[:, None] + (white @ gain[:, :, None])[:, :, 0]
    var = np.maximum(view.target_var - (gain**2).sum(axis=1), 1e-14)
    return _Updated(weight.T, mean.T, var + view.departure(view.u[used]))


def _scatter_seen(view: Outlook, cells: tuple[IntArray, FloatArray], sigma: FloatArray,
                  own: FloatArray) -> FloatArray:  # fmt: skip
    """Log likelihood of the sums of squares within cells, shape (G, J)."""
    used, n = cells
    more = np.flatnonzero(n > 1)
    if more.size == 0:
        return np.zeros((sigma.shape[0], own.shape[0]))
    dof = n[more] - 1
    squares = own[:, more] ** 2 * 2 * gammaincinv(dof / 2, view.chi[:, used[more]])
    s = sigma[:, more]
    return np.asarray(-(dof * np.log(s)).sum(axis=1)[:, None] - (0.5 * s**-2) @ squares.T)


def expected_sd(view: Outlook, specimens: IntArray) -> float:
    """Expected standard deviation of the answer after the tests: quick, for searching."""
    new = _update(view, specimens)
    first = (new.weight * new.mean).sum(axis=1)
    away = new.mean - first[:, None]
    variance = (new.weight * (new.var + away**2)).sum(axis=1)
    return float(np.sqrt(variance).mean())


def expected_width(view: Outlook, specimens: IntArray) -> float:
    """Expected width of the answer's interval (on ln S) after the tests."""
    if not specimens.any():
        return view.now()
    new = _update(view, specimens)
    return float(_width(new.mean, new.var, new.weight, view.level).mean())


def _width(mean: FloatArray, var: FloatArray, weight: FloatArray, level: float) -> FloatArray:
    """Width of the central interval of each mixture; mean and weight (J, G), var (G,)."""
    sd = np.sqrt(var)
    centre = (weight * mean).sum(axis=1)
    spread = np.sqrt((weight * (var + (mean - centre[:, None]) ** 2)).sum(axis=1))
    ends = []
    for p in ((1 - level) / 2, (1 + level) / 2):
        low, high, x = centre - 8 * spread, centre + 8 * spread, centre
        for step in range(10):
            z = (x[:, None] - mean) / sd
            excess = (weight * ndtr(z)).sum(axis=1) - p
            low, high = np.where(excess < 0, x, low), np.where(excess < 0, high, x)
            if step < 5:
                x = (low + high) / 2
                continue
            # Bisection has come near; Newton's step finishes, unless it leaves the bracket.
            slope = (weight / sd * np.exp(-0.5 * z * z)).sum(axis=1) / ROOT_2PI
            new = x - excess / np.maximum(slope, 1e-300)
            x = np.where((new >= low) & (new <= high), new, (low + high) / 2)
        ends.append(x)
    return np.asarray(ends[1] - ends[0])


def linear_variance(view: Outlook) -> tuple[FloatArray, FloatArray, float, FloatArray]:
    """Covariance of cells (K, K), with the answer (K,), variance of it, and noise (K,), pooled.

    Best linear prediction over the whole mixture: a cheap guide for the search.
    """
    w = view.weight
    away = view.cell_mean - w @ view.cell_mean
    own = view.target_mean - w @ view.target_mean
    cov = np.einsum("g,gkl->kl", w, view.cell_cov) + (away * w[:, None]).T @ away
    cross = w @ view.cross + (away * w[:, None]).T @ own
    return cov, cross, float(w @ (view.target_var + own**2)), np.asarray(w @ view.sigma**2)
