"""Strength for a use: every draw of the fit read at its own event's rate, times the factors."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from ratemodel.arrays import FloatArray
from ratemodel.errors import InputError, NotIdentifiedError, Problem
from ratemodel.event import Event, Recorded, event_draws
from ratemodel.inference.ratefit import RateFit
from ratemodel.inference.scatter import specimen_cdf, specimen_quantile
from ratemodel.length import length_shift
from ratemodel.records.tables import Use
from ratemodel.showing import Shown
from ratemodel.units import Unit

#: Strain at break taken where no specimen gives one.
ASSUMED_STRAIN = 0.04


@dataclass(frozen=True, repr=False)
class UseStrength(Shown):
    """Strength of one line in one use, per joint draw (all arrays (draws,)).

    Attributes
    ----------
    u : ndarray
        log10 of the strain rate (1/s) at which strength is read.
    mean_ln : ndarray
        Mean of ln S (SI) of the product at that rate, all factors included.
    sigma, batch_sd : ndarray
        Specimen and spool scatter of ln S.
    factors : mapping of str to ndarray
        ln of every factor, by name, the step to the use's length and temperature included.
    origins : mapping of str to str
        Where each factor comes from.
    curve : Recorded, optional
        Loading curve that the event was computed with.
    """

    use: Use
    fit: RateFit
    event: Event
    u: FloatArray
    mean_ln: FloatArray
    sigma: FloatArray
    batch_sd: FloatArray
    factors: Mapping[str, FloatArray]
    problems: tuple[Problem, ...]
    origins: Mapping[str, str] = field(default_factory=dict)
    curve: Recorded | None = None

    @property
    def unit(self) -> Unit:
        """Unit in which the series gives strength."""
        return self.fit.series.strength_unit

    @property
    def decades_beyond(self) -> float:
        """Median decades by which the use's rate lies beyond the tested rates."""
        return float(np.median(self.fit.decades_beyond(self.u)))

    def quantile_ln(self, fraction_below: float) -> FloatArray:
        """ln strength that ``fraction_below`` of single lines do not reach, per draw."""
        offset = specimen_quantile(fraction_below, self.sigma, self.batch_sd, self.fit.scatter)
        return self.mean_ln + offset

    def probability_below(self, ln_load: FloatArray | float) -> FloatArray:
        """Probability that one line is weaker than a load, per draw."""
        offset = np.asarray(ln_load - self.mean_ln, dtype=np.float64)
        return specimen_cdf(offset, self.sigma, self.batch_sd, self.fit.scatter)

    @property
    def lower_bound(self) -> float:
        """Lower tolerance bound (SI) at the fit's fraction and confidence."""
        bound = self.fit.bound
        q = np.quantile(self.quantile_ln(1 - bound.fraction), 1 - bound.confidence)
        return float(np.exp(q))


def translate(fit: RateFit, use: Use, *, rng: np.random.Generator,
              curve: Recorded | None = None) -> UseStrength:  # fmt: skip
    """Strength at the use's own rate, draw by draw, with the use's factors applied.

    Parameters
    ----------
    fit : RateFit
        Strength against rate of the use's series.
    use : Use
        Kind ``rate``, ``fall``, ``snatch`` or ``steady``.
    rng : numpy.random.Generator
        For the event's distributions and the factors.
    curve : Recorded, optional
        Loading curve of a use whose line is "recorded"; see `recorded_curve`.

    Raises
    ------
    InputError
        The use belongs to another series, or a quantity is missing.
    """
    if use.series != fit.series.name:
        raise InputError(f"use {use.name} is for series {use.series}, the fit for "
                         f"{fit.series.name}", "a fit of the use's own series")  # fmt: skip
    draws = fit.owner.size
    event = event_draws(use, draws, rng, curve=curve)
    u, problems = _rate(fit, use, event)
    mean = fit.mean_ln(u[:, None])[:, 0]
    sigma = fit.sigma_at(u[:, None])[:, 0]
    factors, origins = _stated_factors(use, draws, rng)
    length = event.inputs.get("line_length")
    stated = "line length" in factors
    moved = None if length is None or stated else length_shift(fit.series, length, sigma, rng)
    if moved is not None:
        factors["line length"], origins["line length"] = moved
    elif length is not None and not stated:
        problems += (Problem(
            "length-step-left-out",
            f"use {use.name} states a line length but no specimen a free length: the weakest link "
            "of a longer line is left out; give free_length_mm in breaks.csv"),)  # fmt: skip
    shift = _temperature(fit, event, rng)
    if shift is not None:
        name = "temperature (from the tests and the prior)"
        fitted = "temperature" in fit.data.covariate_names
        origins[name] = "fitted" if fitted else fit.priors.parameters["temperature"].origin
        factors[name] = shift
    elif "temperature" in event.inputs:
        problems += (Problem(
            "temperature-left-out",
            f"use {use.name} states a temperature but the tests have none: no step to it; give "
            "temperature_C in breaks.csv"),)  # fmt: skip
    total = mean + sum(factors.values(), start=np.zeros(draws))
    return UseStrength(use, fit, event, u, total, sigma, fit.batch_sd(), factors, problems,
                       origins, curve)  # fmt: skip


def _stated_factors(use: Use, draws: int, rng: np.random.Generator
                    ) -> tuple[dict[str, FloatArray], dict[str, str]]:  # fmt: skip
    """ln of every factor that the use states, and their origins."""
    factors: dict[str, FloatArray] = {}
    for factor in use.factors:
        values = factor.distribution.sample(draws, rng)
        if bool((values <= 0).any()):
            raise InputError(f"factor {factor.name} of use {use.name} reaches zero or less",
                             "a lognormal or a narrower distribution", file="campaign.toml",
                             column=f"use.{use.name}.factors.{factor.name}")  # fmt: skip
        factors[factor.name] = np.log(values)
    return factors, {f.name: f.origin for f in use.factors}


def _rate(fit: RateFit, use: Use, event: Event) -> tuple[FloatArray, tuple[Problem, ...]]:
    problems = list(event.problems)
    u = np.broadcast_to(rate_of_use(fit, use, event), fit.owner.size)
    if event.strain_rate_per_s is None:
        problems.append(_about_steady(use, event))
    beyond = float(np.median(fit.decades_beyond(u)))
    if beyond > 0.05:
        problems.append(Problem(
            "beyond-the-tested-rates",
            f"the use's strain rate ({10 ** float(np.median(u)):.2g} /s) lies {beyond:.1f} decades "
            f"beyond the tested rates ({fit.tested[0]:.2g} to {fit.tested[1]:.2g} /s); "
            "test closer to it",
            "serious" if beyond > 1.5 else "caution",
        ))  # fmt: skip
    if not np.isfinite(u).all():
        raise NotIdentifiedError(f"use {use.name}: the event gives no finite strain rate")
    return u, tuple(problems)


def rate_of_use(fit: RateFit, use: Use, event: Event) -> FloatArray:
    """log10 of the strain rate (1/s) at which strength is read, per draw of the event.

    For a steady load the rate of a pull lasting the service life; the slowest tested rate where
    none is given.
    """
    if event.strain_rate_per_s is not None:
        with np.errstate(divide="ignore"):
            return np.log10(event.strain_rate_per_s)
    if event.duration_s is None:
        return np.full(1, fit.data.u.min())
    given = fit.series.used.strain_at_break
    known = given[np.isfinite(given)]
    strain = float(np.median(known)) if known.size else ASSUMED_STRAIN
    return np.log10(strain / event.duration_s)


def _about_steady(use: Use, event: Event) -> Problem:
    if event.duration_s is None:
        return Problem(
            "steady-without-duration",
            f"use {use.name} states no duration: strength is read at the slowest tested rate, "
            "which says nothing of the time it may be held; give duration_h",
            "serious",
        )
    return Problem(
        "steady-read-from-pulls",
        f"use {use.name}: strength is that of a pull lasting the whole service life, "
        f"extrapolated from the tested rates; a load held as long is harsher than a pull, and "
        f"creep rupture governs it: lives in creep.csv would be the direct evidence",
        "caution",
    )


def _temperature(fit: RateFit, event: Event, rng: np.random.Generator) -> FloatArray | None:
    """ln of the factor from test to service temperature, where the use states one."""
    service = event.inputs.get("temperature")
    if service is None or not np.isfinite(fit.data.temperature_K):
        return None
    return fit.covariate("temperature", rng) * (service - fit.data.temperature_K)
