"""Does preload cycling change the breaking strength, and by how much: joint draws and odds.

Given the shape (N_s, m, s) and the scatter, the models are linear with normal priors, so their
marginal likelihoods and draws are exact; shape and scatter are summed over a grid. No effect keeps
half the prior odds: a gain has to be measured.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from ratemodel.arrays import FloatArray
from ratemodel.errors import NotIdentifiedError, Problem
from ratemodel.inference.preload_grid import Grid, PreloadData, Priors, draw_cells, evaluate
from ratemodel.models.preload import PRELOAD_MODELS, Protocol


@dataclass(frozen=True)
class PreloadFit:
    """Joint draws of the effect of preload cycling, over all models.

    Attributes
    ----------
    odds : mapping of str to float
        Posterior probability of each model.
    model : ndarray of int, shape (draws,)
        Index into `ratemodel.models.preload.PRELOAD_MODELS`.
    ln_strength, gain, damage : ndarray, shape (draws,)
        a, g, d of the module's formula (0 where the model has none).
    shape : ndarray, shape (draws, 3)
        N_s, m, s.
    scatter : ndarray, shape (draws,)
        Standard deviation of ln S within a batch.
    priors : mapping of str to str
        Every prior, in words.
    words : str
        The verdict for a practitioner.
    data : PreloadData
        What was fitted.
    problems : tuple of Problem
        What limits its use.
    """

    odds: Mapping[str, float]
    model: np.ndarray[tuple[int], np.dtype[np.intp]]
    ln_strength: FloatArray
    gain: FloatArray
    damage: FloatArray
    shape: FloatArray
    scatter: FloatArray
    priors: Mapping[str, str]
    words: str
    data: PreloadData
    problems: tuple[Problem, ...]

    def effect(self, protocol: Protocol) -> FloatArray:
        """Change of ln S by a protocol against no preload, shape (draws,)."""
        settle, m, s = self.shape.T
        n, q = float(protocol.cycles), float(protocol.fraction)
        gain = self.gain * q**m * -np.expm1(-n / settle)
        return np.asarray(gain - self.damage * n * q**s)

    def chance_of_gain(self, protocol: Protocol, at_least: float = 0.005) -> float:
        """Probability that the protocol raises the strength by at least this fraction."""
        return float(np.mean(self.effect(protocol) >= np.log1p(at_least)))


def fit_preload(
    data: PreloadData,
    *,
    draws: int,
    rng: np.random.Generator,
    priors: Priors | None = None,
) -> PreloadFit:
    """Fit no effect, saturating gain and gain with damage, and weigh them.

    Parameters
    ----------
    data : PreloadData
        Strengths with their protocols.
    draws : int
        Number of joint draws.
    rng : numpy.random.Generator
        Source of randomness.
    priors : Priors, optional
        Priors other than the default.

    Raises
    ------
    NotIdentifiedError
        Fewer than two protocols, or too few specimens to tell the scatter.
    """
    given = priors or Priors()
    protocols = _protocols(data)
    grids = [evaluate(model, data, given) for model in PRELOAD_MODELS]
    log_w = np.array([np.logaddexp.reduce(g.log_evidence, axis=None) for g in grids])
    log_w = log_w + np.log([given.no_effect] + [(1 - given.no_effect) / 2] * 2)
    weights = np.exp(log_w - log_w.max())
    weights /= weights.sum()
    model = np.sort(rng.choice(3, size=draws, p=weights))
    parts = [draw_cells(g, int(np.sum(model == i)), rng) for i, g in enumerate(grids)]
    rows = np.concatenate(parts)[rng.permutation(draws)]
    odds = {m.name: float(w) for m, w in zip(PRELOAD_MODELS, weights, strict=True)}
    which = np.asarray(rows[:, 7], dtype=np.intp)
    return PreloadFit(
        odds=odds,
        model=which,
        ln_strength=rows[:, 0],
        gain=rows[:, 1],
        damage=rows[:, 2],
        shape=rows[:, 3:6],
        scatter=rows[:, 6],
        priors=given.in_words(),
        words=_words(odds),
        data=data,
        problems=_problems(data, protocols) + _grid_problems(grids, weights),
    )


def translate_protocol(fit: PreloadFit, from_: Protocol, to: Protocol) -> FloatArray:
    """Ratio of strengths under two protocols, one per draw: strength(to) / strength(from_).

    A protocol to itself is exactly 1 in every draw, and A to B to C equals A to C.

    Examples
    --------
    A rating pulled after 10 cycles to 50 %, asked without preload:
    ``translate_protocol(fit, Protocol(10, 0.5), NO_PRELOAD)``.
    """
    if from_ == to:
        return np.ones_like(fit.gain)
    return np.asarray(np.exp(fit.effect(to) - fit.effect(from_)))


def protocol_problems(fit: PreloadFit, *protocols: Protocol) -> tuple[Problem, ...]:
    """Say which protocols lie beyond the tested cycles or levels."""
    out = []
    n_max, q_max = float(fit.data.cycles.max()), float(fit.data.fraction.max())
    for p in protocols:
        if p.cycles > n_max or p.fraction > q_max:
            out.append(
                Problem(
                    "protocol-beyond-data",
                    f"{p.cycles:g} cycles to {p.fraction:.0%} lie beyond the tested {n_max:g} "
                    f"cycles and {q_max:.0%}: the answer rests on the models. Test that protocol.",
                )
            )
    return tuple(out)


def _protocols(data: PreloadData) -> FloatArray:
    protocols = np.unique(np.stack([data.cycles, data.fraction], axis=1), axis=0)
    if len(protocols) < 2 or len(data.strength_N) < 4:
        raise NotIdentifiedError(
            f"{len(data.strength_N)} specimens under {len(protocols)} protocol(s) cannot show an "
            "effect of cycling; break three specimens without preload and three with"
        )
    return np.asarray(protocols)


def _words(odds: Mapping[str, float]) -> str:
    none, gain, both = (odds[m.name] for m in PRELOAD_MODELS)
    detail = f"no effect {none:.0%}, gain that settles {gain:.0%}, gain with damage {both:.0%}"
    if none >= 0.8:
        return f"The strengths show no effect of cycling ({detail})."
    if none <= 0.05:
        return f"Cycling changes the strength ({detail})."
    return f"The strengths do not decide whether cycling matters ({detail}); test more specimens."


def _problems(data: PreloadData, protocols: FloatArray) -> tuple[Problem, ...]:
    out = []
    if data.unbroken:
        out.append(
            Problem(
                "unbroken-left-out",
                f"{data.unbroken} specimens did not break and were left out, which reads low: "
                "their strength lies above what they held. Break them on a stronger machine.",
            )
        )
    cycled = protocols[protocols[:, 0] > 0]
    if not np.any((protocols[:, 0] == 0) | (protocols[:, 1] == 0)):
        out.append(
            Problem(
                "no-uncycled-specimens",
                "No specimen was broken without preload: the step from no cycles to the first is "
                "read from the models alone. Break three without.",
            )
        )
    if len(np.unique(cycled[:, 1])) < 2:
        out.append(
            Problem(
                "one-level",
                "Cycling was tested at one level only: how the effect rises with the level is not "
                "known from these data.",
                "note",
            )
        )
    if len(set(data.batch)) > 1 and _batch_is_protocol(data):
        out.append(
            Problem(
                "batch-and-preload-confounded",
                "Every protocol was broken on a batch of its own: an effect of cycling cannot be "
                "told from a difference between batches. Cycle and leave uncycled within a batch.",
                "serious",
            )
        )
    return tuple(out)


def _grid_problems(grids: Sequence[Grid], weights: FloatArray) -> tuple[Problem, ...]:
    """Findings on the integration: the scatter at the edge of its grid, few cells with weight."""
    out = []
    cells = [np.exp(g.log_evidence - g.log_evidence.max()) for g in grids]
    shares = [w * c / c.sum() for w, c in zip(weights, cells, strict=True)]
    scatter = np.sum([s.sum(axis=1) for s in shares], axis=0)
    if max(scatter[0], scatter[-1]) > 0.05:
        end = "smallest" if scatter[0] > scatter[-1] else "largest"
        value = grids[0].scatters[0 if end == "smallest" else -1]
        out.append(
            Problem(
                "scatter-at-edge",
                f"The scatter lies at the {end} value looked at, {100 * value:.2g} %: strengths "
                "under one protocol are copies or rounded, or one lies far from all others.",
                "serious",
            )
        )
    flat = np.concatenate([s.ravel() for s in shares])
    effective = float(flat.sum() ** 2 / (flat**2).sum())
    if effective < 10:
        out.append(
            Problem(
                "few-effective-points",
                f"Only {effective:.0f} cells of the grid carry the answer: intervals are rough.",
            )
        )
    return tuple(out)


def _batch_is_protocol(data: PreloadData) -> bool:
    seen: dict[str, set[tuple[float, float]]] = {}
    for b, n, q in zip(data.batch, data.cycles, data.fraction, strict=True):
        seen.setdefault(b, set()).add((float(n), float(q)))
    return all(len(v) == 1 for v in seen.values())
