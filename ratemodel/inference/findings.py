"""Findings on a rate fit that need no refit: what the data can and cannot carry."""

from __future__ import annotations

import numpy as np

from ratemodel.errors import Problem
from ratemodel.inference.data import RateData
from ratemodel.inference.ratefit import RateFit
from ratemodel.inference.soundness import soundness

#: Speeds within this many decades count as the same speed on two machines.
SAME_SPEED = 0.15


def find_problems(fit: RateFit) -> tuple[Problem, ...]:
    """Every finding on a fit, serious ones first."""
    found = [
        *_speeds(fit),
        *_machines(fit),
        *_specimens(fit.data),
        *_spools(fit),
        *_growth(fit),
        *_weights(fit),
        *soundness(fit),
    ]
    order = {"serious": 0, "caution": 1, "note": 2}
    return tuple(sorted(found, key=lambda p: order[p.severity]))


def _speeds(fit: RateFit) -> list[Problem]:
    rates = fit.data.rates
    if rates.size == 1:
        return [Problem(
            "one-speed",
            f"all specimens were pulled at one strain rate ({10 ** rates[0]:.2g} /s): any rate "
            "effect in the answer comes from the priors alone; test at a second speed",
            "serious",
        )]  # fmt: skip
    many = [
        m.model.name
        for m in fit.models
        if m.weight > 0.01 and len(m.model.linear) + len(m.model.shape) > rates.size
    ]
    if not many:
        return []
    return [Problem(
        "too-few-speeds",
        f"{rates.size} speeds cannot carry {', '.join(many)} by themselves: part of each is prior; "
        "a further speed would tell them apart",
        "caution",
    )]  # fmt: skip


def confounded_machines(data: RateData) -> list[tuple[str, ...]]:
    """Groups of machines that no common speed links; one group where all are linked.

    Two machines are linked when both pulled at one speed, within 0.15 decade.
    """
    groups = [{m} for m in range(len(data.machines))]
    for rate in data.rates:
        near = set(data.machine[np.abs(data.u - rate) <= SAME_SPEED].tolist())
        touching = [g for g in groups if g & near]
        groups = [g for g in groups if not g & near] + ([set().union(*touching)] if near else [])
    return [tuple(data.machines[i] for i in sorted(g)) for g in groups]


def _machines(fit: RateFit) -> list[Problem]:
    data = fit.data
    if len(data.machines) < 2:
        sd = fit.priors.machine(data.machines[0] if data.machines else "")
        return [Problem(
            "calibration-not-seen",
            f"one machine: its calibration (about {100 * sd:.2g} %, one standard deviation) shifts "
            "every reading alike, cannot be seen in these tests and is not in the intervals",
            "note",
        )]  # fmt: skip
    groups = confounded_machines(data)
    if len(groups) < 2 or data.rates.size < 2:
        return []
    sds = [fit.priors.machine(m) for m in data.machines]
    worst = 1.645 * float(np.sqrt(2.0)) * max(sds)
    effect = fit.mean_ln(np.array([data.u.min(), data.u.max()]))
    size = float(np.median(effect[:, 1] - effect[:, 0]))
    parts = " | ".join(", ".join(name or "(no name)" for name in g) for g in groups)
    return [Problem(
        "machine-and-rate-confounded",
        f"no speed was run on both sides of {parts}: of the rate effect of {100 * size:+.1f} % "
        f"over the tested speeds, up to {100 * worst:.1f} % could be the machines; run one speed "
        "on two machines (bridge tests)",
        "caution",
    )]  # fmt: skip


def _specimens(data: RateData) -> list[Problem]:
    out = []
    if data.pure_error_dof < 1:
        out.append(Problem(
            "no-replicates",
            "no two specimens were tested alike: the scatter rests on a prior of 3 % within a "
            "factor of 2; repeat at least one test",
            "serious",
        ))  # fmt: skip
    elif not data.scatter_seen:
        out.append(Problem(
            "no-scatter",
            "specimens tested alike read the same to 0.05 %: rounded, copied or generated? The "
            "scatter rests on a prior of 3 % within a factor of 2; enter the readings in full",
            "serious",
        ))  # fmt: skip
    unsure = int((data.reading_sd > 0).sum())
    if unsure:
        worst = float(np.expm1(data.reading_sd.max() * np.sqrt(3.0)))
        out.append(Problem(
            "peaks-read-low",
            f"{unsure} peak(s) may be read low, by up to {100 * worst:.1f} %, for what their logs "
            "cannot show; the intervals take it along; sample faster",
            "caution",
        ))  # fmt: skip
    held = float(np.mean(~data.broke))
    if held > 0.4:
        out.append(Problem(
            "mostly-censored",
            f"{100 * held:.0f} % of the specimens did not break; strength above the machine's "
            "limit rests on the assumed shape of the scatter",
            "serious",
        ))  # fmt: skip
    counts = np.bincount(data.speed)
    if int(counts.min()) < 3 and data.pure_error_dof >= 1:
        out.append(Problem(
            "few-specimens",
            f"only {counts.min()} specimen(s) at {10 ** data.rates[int(counts.argmin())]:.2g} /s; "
            "at least 3 a speed show whether the scatter is the same",
            "note",
        ))  # fmt: skip
    return out


def _spools(fit: RateFit) -> list[Problem]:
    if len(fit.data.batches) >= 2:
        return []
    if fit.series.batch_sd_fraction is not None:
        return [Problem(
            "one-spool",
            "one spool only: spool-to-spool scatter is the stated prior, not seen in these tests",
            "note",
        )]  # fmt: skip
    return [Problem(
        "one-spool",
        "one spool only: how much spools differ is unknown and not in the intervals; state "
        "batch_sd_fraction or test a second spool",
        "caution",
    )]  # fmt: skip


def _growth(fit: RateFit) -> list[Problem]:
    if fit.data.rates.size < 2:
        return []
    growth = np.concatenate([
        m.draws.growth[fit.row[fit.owner == j]] for j, m in enumerate(fit.models)
    ])  # fmt: skip
    rising, falling = float(np.mean(growth > 0)), float(np.mean(growth < 0))
    if max(rising, falling) < 0.95:
        return []
    factor = float(np.exp(np.median(growth[growth != 0])))
    word = "grows" if rising > falling else "shrinks"
    return [Problem(
        "scatter-changes-with-rate",
        f"the scatter {word} with rate, by a factor of {factor:.2f} per decade (probability "
        f"{max(rising, falling):.2f}); the intervals take it along",
        "caution",
    )]  # fmt: skip


def _weights(fit: RateFit) -> list[Problem]:
    top = max(fit.models, key=lambda m: m.weight)
    if top.weight > 0.99 and len(fit.models) > 1:
        return [Problem(
            "one-model-dominates",
            f"{top.model.name} carries {100 * top.weight:.0f} % of the average",
            "note",
        )]  # fmt: skip
    return []
