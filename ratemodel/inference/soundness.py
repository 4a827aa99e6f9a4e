"""Findings on the fit itself: failed models, flat likelihoods, parameters at the edge of a prior.

An average must not hide that a model failed, that the tests say nothing about a parameter, that
data and prior pull apart, or that a bound rests on a handful of draws.
"""

from __future__ import annotations

from collections import defaultdict
from typing import TYPE_CHECKING

import numpy as np

from ratemodel.arrays import FloatArray
from ratemodel.errors import Problem
from ratemodel.inference.hyper import HyperPoints, Problemset
from ratemodel.inference.tails import thin_tail

if TYPE_CHECKING:
    from ratemodel.inference.ratefit import RateFit

#: Outer part of a prior, on each side, and the share of the posterior there that is a finding.
EDGE, PILED = 0.02, 0.3
#: Information (nats) of the posterior about a parameter below which the tests say nothing of it.
FLAT = 0.03
MATTERS = 0.01
_CELLS = 8


def shape_problems(setup: Problemset, points: HyperPoints, log_weight: FloatArray
                   ) -> list[Problem]:  # fmt: skip
    """Flat likelihoods and edges of priors among one model's shape parameters.

    ``points.cube`` holds each parameter's prior probability, uniform where the tests say nothing;
    how far the weights are from uniform there is what the tests say.
    """
    w = np.exp(log_weight - log_weight.max())
    w = w / w.sum()
    out = []
    for j, parameter in enumerate(setup.model.shape):
        v = points.cube[:, j]
        low, high = float(w[v < EDGE].sum()), float(w[v > 1 - EDGE].sum())
        if max(low, high) > PILED:
            end = "lower" if low > high else "upper"
            out.append(Problem("prior-edge", f"{parameter.name} at the {end} end of its prior"))
            continue
        mass = np.histogram(v, bins=_CELLS, range=(0.0, 1.0), weights=w)[0]
        told = float((mass * np.log(np.maximum(mass * _CELLS, 1e-300))).sum())
        if told < FLAT:
            out.append(Problem("flat-likelihood", f"{parameter.name}"))
    return out


def soundness(fit: RateFit) -> list[Problem]:
    """Every finding on the fit itself, one for each kind, naming the models."""
    return [*_failed(fit), *_gathered(fit), *_tails(fit)]


def _failed(fit: RateFit) -> list[Problem]:
    if not fit.failed:
        return []
    names = "; ".join(f"{f.name} ({f.message})" for f in fit.failed)
    left = [m for m in fit.models if m.weight > 0]
    top = max(left, key=lambda m: m.weight)
    out = [Problem(
        "model-failed",
        f"left out of the average because its numbers failed: {names}; look for impossible rates "
        "or strengths, or leave the model out by name",
        "serious",
    )]  # fmt: skip
    if top.weight > 0.9:
        out.append(Problem(
            "one-model-because-others-failed",
            f"{top.model.name} carries {100 * top.weight:.0f} % of the average while "
            f"{len(fit.failed)} of {len(fit.failed) + len(fit.models)} models failed: the weight "
            "says nothing for it",
            "serious",
        ))  # fmt: skip
    return out


_TEXTS = {
    "prior-edge": "tests and prior pull apart: {what}; look at those rates, or state a prior of "
    "your own in campaign.toml",
    "flat-likelihood": "the tests do not determine {what}: there the answer is the prior's; a "
    "test at a further speed would tell",
}


def _gathered(fit: RateFit) -> list[Problem]:
    """One finding for each kind found in models that matter."""
    found: dict[str, list[tuple[str, Problem]]] = defaultdict(list)
    for m in fit.models:
        for p in m.problems if m.weight > MATTERS else ():
            found[p.code].append((m.model.name, p))
    out = []
    for code, each in found.items():
        if code in _TEXTS:
            what = ", ".join(f"{p.message} ({name})" for name, p in each)
            severity = "note" if code == "flat-likelihood" else "caution"
            out.append(Problem(code, _TEXTS[code].format(what=what), severity))  # type: ignore[arg-type]
            continue
        order = ("serious", "caution", "note")
        worst = min((p for _, p in each), key=lambda p: order.index(p.severity))
        names = ", ".join(name for name, _ in each)
        out.append(Problem(code, f"{names}: {worst.message}", worst.severity))
    return out


def _tails(fit: RateFit) -> list[Problem]:
    """Quantiles taken from draws need draws beyond them."""
    tail = min(1 - fit.bound.confidence, (1 - fit.level) / 2)
    what = f"the {fit.bound.label} bound, or the {100 * fit.level:g} % intervals' ends,"
    return [] if fit.exact else list(thin_tail(fit.owner.size, tail, what))
