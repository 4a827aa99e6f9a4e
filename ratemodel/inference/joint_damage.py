"""Break tests at many rates and lives at many loads, fitted together.

Under linear damage with t_f = A F**-n, a specimen whose ln life deviates by s e breaks on an even
pull at the rate r at

    ln S = (ln(n + 1) + ln A + ln r + s e) / (n + 1),

so the slope of ln S against ln rate is 1/(n + 1), the exponent is the same n, and the scatter of
ln S is s/(n + 1): lives Weibull with shape 1/s mean strengths Weibull with shape (n + 1)/s.
Whether the tests agree with that is asked in three steps: the exponent, the level, the scatter.

References
----------
Coleman, J. Appl. Phys. 29 (1958) 968 (from memory); ASTM C1368 and C1576 for the two kinds of test.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import chdtrc

from ratemodel.arrays import FloatArray
from ratemodel.errors import NotIdentifiedError, Problem
from ratemodel.inference.damage_likelihood import DamageLikelihood, RampData, Sharing, maximise
from ratemodel.inference.importance import importance_draws
from ratemodel.inference.life import (
    LifeData,
    LifeDistribution,
    LifeFit,
    fit_life,
    regress,
)
from ratemodel.inference.life_bounds import LifeDraws
from ratemodel.models.lifetime import InversePower

_STEPS: tuple[Sharing, ...] = ("exponent", "exponent and level", "exponent, level and scatter")


@dataclass(frozen=True)
class Agreement:
    """Likelihood-ratio test of one more thing held in common by ramps and lives.

    Attributes
    ----------
    shared : str
        What is held in common.
    statistic : float
        Twice the loss of log-likelihood against fits of their own.
    degrees_of_freedom : int
        Number of things held in common.
    p_value : float
        Chance of as large a loss if they are the same.
    """

    shared: Sharing
    statistic: float
    degrees_of_freedom: int
    p_value: float


@dataclass(frozen=True)
class JointDamageFit:
    """Ramps and lives under one damage law, and whether they agree.

    Attributes
    ----------
    lives, ramps : LifeData, RampData
        What was fitted.
    distribution : {"weibull", "lognormal"}
        Scatter of lives.
    shared : str
        What the final fit holds in common: as much as the tests do not reject at 5 %.
    exponent : float
        Common life exponent n.
    exponent_of_lives, exponent_of_ramps : tuple of float
        95 % interval from each kind of test alone; infinite where ramps show no rate effect.
    parameters, covariance : ndarray
        Of ``ln_life`` at ``reference_N``, ln(n + 1), ln scatter [, ramp level, ln ramp scatter].
    reference_N : float
        Load at which ``ln_life`` is defined.
    log_likelihood : float
        Densities of ln life and ln strength.
    tests : tuple of Agreement
        In the order exponent; exponent and level; exponent, level and scatter.
    words : str
        The verdict for a practitioner.
    problems : tuple of Problem
        Set where ramps and lives disagree.
    """

    lives: LifeData
    ramps: RampData
    distribution: LifeDistribution
    shared: Sharing
    exponent: float
    exponent_of_lives: tuple[float, float]
    exponent_of_ramps: tuple[float, float]
    parameters: FloatArray
    covariance: FloatArray
    reference_N: float
    log_likelihood: float
    tests: tuple[Agreement, ...]
    words: str
    problems: tuple[Problem, ...]


def fit_joint_damage(
    lives: LifeData, ramps: RampData, distribution: LifeDistribution = "weibull"
) -> JointDamageFit:
    """Fit lives and ramps jointly under the power law, and test whether they agree.

    Raises
    ------
    NotIdentifiedError
        Lives at one load, or ramps at one rate, only: the exponents cannot be compared.
    """
    if len(np.unique(ramps.loading_rate_N_per_s)) < 2:
        raise NotIdentifiedError(
            "ramps at one rate cannot show an exponent; add a rate two or more decades away"
        )
    own_lives = fit_life(lives, InversePower(), distribution)
    line = _ramp_line(ramps, distribution)
    reference = float(np.exp(np.mean(np.log(lives.load_N))))
    free = own_lives.log_likelihood + float(np.log(lives.time_s[lives.broke]).sum()) + line.value
    start = _start(own_lives, line, reference)
    fits = [
        maximise(DamageLikelihood(lives, ramps, distribution, s, reference), start, s)
        for s in _STEPS
    ]
    tests = tuple(
        _agreement(s, k, free - f[1]) for k, (s, f) in enumerate(zip(_STEPS, fits, strict=True), 1)
    )
    # Share as much as is not rejected, step by step.
    chosen = 0
    while chosen < 2 and all(t.p_value >= 0.05 for t in tests[: chosen + 2]):
        chosen += 1
    at, value, covariance = fits[chosen]
    intervals = (_life_exponent(own_lives), _ramp_exponent(line.slope, line.slope_error))
    words, problems = _words(tests, intervals)
    return JointDamageFit(
        lives=lives,
        ramps=ramps,
        distribution=distribution,
        shared=_STEPS[chosen],
        exponent=float(np.expm1(at[1])),
        exponent_of_lives=intervals[0],
        exponent_of_ramps=intervals[1],
        parameters=at,
        covariance=covariance,
        reference_N=reference,
        log_likelihood=value,
        tests=tests,
        words=words,
        problems=own_lives.problems + problems,
    )


def draw_joint_damage(fit: JointDamageFit, *, draws: int, rng: np.random.Generator) -> LifeDraws:
    """Joint draws of the common law, ready for lives, bounds and the damage integral.

    Prior: flat on ln life at the reference load, ln(n + 1), ln scatter (and on the ramps' own
    level and ln scatter where they are not shared).
    """
    density = DamageLikelihood(fit.lives, fit.ramps, fit.distribution, fit.shared, fit.reference_N)
    joint = importance_draws(density, fit.parameters, fit.covariance, draws=draws, rng=rng)
    exponent = np.expm1(joint.values[:, 1])
    ln_a = joint.values[:, 0] + exponent * np.log(fit.reference_N)
    load = fit.lives.load_N
    return LifeDraws(
        law=InversePower(),
        distribution=fit.distribution,
        coefficients=np.stack([ln_a, exponent], axis=1),
        scale=np.exp(joint.values[:, 2]),
        log_evidence=joint.log_evidence,
        prior="flat on ln life at the reference load, ln(n + 1) and ln scatter",
        load_range_N=(float(load.min()), float(load.max())),
        problems=fit.problems + joint.problems,
    )


@dataclass(frozen=True)
class _Line:
    level: float  # at the mean ln rate
    slope: float
    slope_error: float
    ln_scale: float
    value: float


def _ramp_line(ramps: RampData, distribution: LifeDistribution) -> _Line:
    x = np.log(ramps.loading_rate_N_per_s)
    design = np.stack([np.ones_like(x), x - x.mean()], axis=1)
    beta, ln_scale, value, cov = regress(
        design, np.log(ramps.strength_N), ramps.broke, distribution
    )
    error = float(np.sqrt(cov[1, 1]))
    return _Line(float(beta[0]), float(beta[1]), error, ln_scale, value)


def _start(own_lives: LifeFit, line: _Line, reference: float) -> FloatArray:
    n = own_lives.coefficients[1]
    level = own_lives.coefficients[0] - n * np.log(reference)
    return np.array(
        [level, np.log(max(n, 0.5) + 1.0), np.log(own_lives.scale), line.level, line.ln_scale]
    )


def _life_exponent(own_lives: LifeFit) -> tuple[float, float]:
    n, se = float(own_lives.coefficients[1]), float(np.sqrt(own_lives.covariance[1, 1]))
    return n - 1.96 * se, n + 1.96 * se


def _agreement(shared: Sharing, held: int, loss: float) -> Agreement:
    statistic = 2 * max(loss, 0.0)
    return Agreement(shared, statistic, held, float(chdtrc(held, statistic)))


def _ramp_exponent(slope: float, se: float) -> tuple[float, float]:
    high, low = slope + 1.96 * se, slope - 1.96 * se
    return (
        1 / high - 1 if high > 0 else float("inf"),
        1 / low - 1 if low > 0 else float("inf"),
    )


def _words(
    tests: tuple[Agreement, ...],
    intervals: tuple[tuple[float, float], tuple[float, float]],
) -> tuple[str, tuple[Problem, ...]]:
    lives = f"{intervals[0][0]:.1f} to {intervals[0][1]:.1f}"
    ramps = f"{intervals[1][0]:.1f} to {intervals[1][1]:.1f}"
    said = f"lives alone give n = {lives}, break tests alone n = {ramps}"
    if tests[0].p_value < 0.05:
        message = (
            f"Break tests and lives do not follow one damage law: {said} (chance of such a "
            f"difference {tests[0].p_value:.2g}). Do not read lives from break tests or the other "
            "way; heat or load sharing may change strength with rate."
        )
        return message, (Problem("exponents-disagree", message, "serious"),)
    if tests[1].p_value < 0.05:
        message = (
            f"Break tests and lives share the exponent ({said}) but not the level: a life foretold "
            "from break tests would be off. Look for another batch, temperature or termination."
        )
        return message, (Problem("levels-disagree", message),)
    if tests[2].p_value < 0.05:
        message = (
            f"Break tests and lives follow one damage law ({said}), but strengths scatter "
            "otherwise than the lives foretell; each kept its own scatter."
        )
        return message, (Problem("scatters-disagree", message, "note"),)
    return f"Break tests and lives follow one damage law: {said}.", ()
