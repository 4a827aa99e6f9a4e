"""What limits a comparison of two series."""

from __future__ import annotations

import numpy as np

from ratemodel.arrays import FloatArray
from ratemodel.comparing.calibration import machine_findings
from ratemodel.errors import Problem
from ratemodel.inference.ratefit import RateFit

#: Findings of a single fit that a comparison answers in its own way.
_ANSWERED = ("calibration-not-seen", "one-spool")
_EFFECTIVE = 500.0


def pair_findings(a: RateFit, b: RateFit, u: FloatArray, effective: float) -> tuple[Problem, ...]:
    """Every finding, serious ones first."""
    found = [*machine_findings([a, b]), *_spools(a, b), *_conditions(a, b), *_beyond(a, b, u)]
    if effective < _EFFECTIVE:
        found.append(Problem(
            "scatters-differ",
            f"the scatters differ far more than held beforehand: only {effective:.0f} pairs of "
            "draws carry the answer; set scatter_alike wider",
            "serious",
        ))  # fmt: skip
    for fit in (a, b):
        found += [
            Problem(p.code, f"{fit.series.name}: {p.message}", p.severity)
            for p in fit.problems
            if p.code not in _ANSWERED
        ]
    order = {"serious": 0, "caution": 1, "note": 2}
    return tuple(sorted(found, key=lambda p: order[p.severity]))


def _spools(a: RateFit, b: RateFit) -> list[Problem]:
    few = [f.series.name for f in (a, b)
           if len(f.data.batches) < 2 and f.series.batch_sd_fraction is None]  # fmt: skip
    if not few:
        return []
    return [Problem(
        "one-spool",
        f"one spool only of {' and of '.join(few)}: the ratio holds for the spools tested, how "
        "much others differ is unknown and not in it; test a second spool or state "
        "batch_sd_fraction",
    )]  # fmt: skip


def _conditions(a: RateFit, b: RateFit) -> list[Problem]:
    out = []
    warm = [f.data.temperature_K for f in (a, b)]
    if np.isfinite(warm).all() and abs(warm[1] - warm[0]) > 5:
        out.append(Problem(
            "temperatures-differ",
            f"{a.series.name} was tested {warm[0] - warm[1]:+.0f} K from {b.series.name}: the "
            "difference is part of the ratio; test both at one temperature",
        ))  # fmt: skip
    cycled = [_cycled(f) for f in (a, b)]
    if cycled[0] != cycled[1]:
        out.append(Problem(
            "preload-differs",
            f"{a.series.name} is {cycled[0]}, {b.series.name} {cycled[1]}: the effect of preload "
            "cycling is part of the ratio; prepare both alike",
        ))  # fmt: skip
    return out


def _cycled(fit: RateFit) -> str:
    """State that a fit's mean refers to."""
    if "cycled" in fit.data.covariate_names:
        return "not cycled"
    cycles = np.nan_to_num(fit.series.used.preload_cycles, nan=0.0)
    return "cycled" if bool((cycles > 0).all()) else "not cycled"


def _beyond(a: RateFit, b: RateFit, u: FloatArray) -> list[Problem]:
    out = []
    for fit in (a, b):
        far = float(fit.decades_beyond(u).max())
        if far > 0.05:
            rate = 10 ** float(u[int(fit.decades_beyond(u).argmax())])
            out.append(Problem(
                "beyond-the-tested-rates",
                f"{fit.series.name} was tested from {fit.tested[0]:.2g} to {fit.tested[1]:.2g} /s, "
                f"{far:.1f} decades from {rate:.2g} /s: there the ratio rests on the models; test "
                "both at the rate that matters",
                "serious" if far > 1.5 else "caution",
            ))  # fmt: skip
    return out
