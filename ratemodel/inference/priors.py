"""Prior knowledge of rate effects and scatter: stated, sourced, printable, replaceable.

The location of ln S has a flat prior and the scatter 1/sigma, so that classical cases give the
classical answers. Everything below is informative because physics or published data give it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np

from ratemodel.arrays import FloatArray
from ratemodel.errors import InputError
from ratemodel.models.rate import HALF_HEAT, RATE_MODELS
from ratemodel.records.tables import Distribution, Series

#: Transverse thermal diffusivity of a loose braid, m2/s: conductivity across the fibre
#: 0.33 W/(m K) (Choy, Fei, Xi 1993, abstract) over density 970 kg/m3 and heat capacity
#: 1850 J/(kg K) (from memory) is 1.8e-7 for solid fibre; a loose bundle conducts less, no measured
#: value found, half is assumed and the prior's width covers a factor of three either way.
BRAID_DIFFUSIVITY = 0.9e-7
#: Probability that the heat balance does not place the step: jacket, water, coating, contact with
#: pins and strands of a braid all change the path of the heat, and no measurement was found.
HEAT_DOUBT = 0.65
FIRST_ROOT_SQUARED = 2.404825557695773**2


@dataclass(frozen=True)
class Prior:
    """What is held about one parameter before the tests are read.

    ``broad`` is mixed in with ``broad_weight``: a second opinion for the case that the physics
    behind the first does not apply.
    """

    name: str
    distribution: Distribution
    unit: str
    origin: str
    broad: Distribution | None = None
    broad_weight: float = 0.0

    def from_uniform(self, v: FloatArray) -> FloatArray:
        """Quantile transform of uniforms, shape kept."""
        if self.broad is None or self.broad_weight == 0.0:
            return self.distribution.from_uniform(v)
        w = self.broad_weight
        inner = np.clip((v - w) / (1.0 - w), 1e-12, 1 - 1e-12)
        outer = np.clip(v / w, 1e-12, 1 - 1e-12)
        return np.where(
            v < w, self.broad.from_uniform(outer), self.distribution.from_uniform(inner)
        )

    def moments(self) -> tuple[float, float]:
        """Mean and standard deviation, for a parameter that enters linearly."""
        d = self.distribution
        if d.kind == "normal":
            return d.a, max(d.b, 1e-9)
        if d.kind == "uniform":
            return (d.a + d.b) / 2, max((d.b - d.a) / np.sqrt(12.0), 1e-9)
        spread = np.log(d.b) ** 2 if d.kind == "lognormal" else 0.0
        mean = d.a * np.exp(spread / 2)
        return float(mean), max(float(abs(mean) * np.sqrt(np.expm1(spread))), 1e-9)

    def widened(self, factor: float) -> Prior:
        """The same prior with its spread multiplied by ``factor``."""
        return replace(self, distribution=_widen(self.distribution, factor))


@dataclass(frozen=True)
class RatePriors:
    """All priors of a rate analysis.

    Attributes
    ----------
    parameters : mapping of str to Prior
        By parameter name as the models use it (``slope``, ``drop``, ...), and ``growth``,
        ``batch_sd``, ``discrepancy``.
    machine_sd : mapping of str to float
        Calibration standard deviation per machine; ``""`` holds the default.
    weights : mapping of str to float
        Prior weight of each model.
    """

    parameters: Mapping[str, Prior]
    machine_sd: Mapping[str, float] = field(default_factory=lambda: {"": 0.01})
    weights: Mapping[str, float] = field(default_factory=dict)

    def widened(self, factor: float) -> RatePriors:
        """Every informative prior with its spread multiplied by ``factor``."""
        wide = {name: prior.widened(factor) for name, prior in self.parameters.items()}
        return replace(self, parameters=wide)

    def machine(self, name: str) -> float:
        """Calibration standard deviation of one machine, as a fraction of the reading."""
        return self.machine_sd.get(name, self.machine_sd[""])


def _widen(d: Distribution, factor: float) -> Distribution:
    if d.kind == "normal":
        return replace(d, b=d.b * factor)
    if d.kind == "lognormal":
        return replace(d, b=d.b**factor)
    if d.kind == "uniform":
        middle, half = (d.a + d.b) / 2, (d.b - d.a) / 2
        return replace(d, a=middle - factor * half, b=middle + factor * half)
    return d


#: Prior weights. A rate effect of exactly zero and an empirical parabola get less; power law,
#: semi-log and kinetic say nearly the same thing over a few decades and share one weight.
MODEL_WEIGHTS: dict[str, float] = {
    "constant": 0.05,
    "power-law": 0.06,
    "semi-log": 0.05,
    "hinge": 0.16,
    "plateau": 0.23,
    "competing": 0.38,
    "kinetic": 0.04,
    "quadratic": 0.03,
}


def default_priors(series: Series, options: Mapping[str, object] | None = None) -> RatePriors:
    """Priors for one series; the ``[priors]`` table of campaign.toml replaces any of them.

    Raises
    ------
    InputError
        For a prior that no model has, or one not given as a distribution.
    """
    u = np.log10(series.used.strain_rate_per_s)
    reach = Distribution("uniform", float(u.min()) - 1.0, float(u.max()) + 3.0)
    anywhere = "anywhere from a decade below the tested rates to three above"
    table = [
        Prior("slope", Distribution("normal", 0.0, 0.04), "per decade",
              "published slopes: +2.4 % (carbon bundles, Naito 2014), +2.7 % (HMPE laminate 2025), "
              "6-9 % (textile yarns, from memory), braids and joints negative; sign not given"),
        Prior("k", Distribution("normal", 0.0, 0.04), "per decade", "as slope"),
        Prior("fibre_slope", Distribution("normal", 0.022, 0.022), "per decade",
              "fibre alone: published slopes +2 to +9 % per decade, none negative"),
        Prior("drop", Distribution("normal", 0.11, 0.06), "",
              "a few to some twenty per cent (common practice, no source)"),
        Prior("curvature", Distribution("normal", 0.0, 0.004), "per decade^2",
              "a slope that changes by its own prior spread within three decades"),
        Prior("corner", reach, "log10(1/s)", anywhere),
        heat_place(series, reach),
        Prior("ln_B", Distribution("lognormal", 35.0, 1.4), "ln(s)",
              "activation energy 1.5 eV (O'Connor & Robbins 2020, abstract); other sources half"),
        Prior("growth", Distribution("normal", 0.0, 0.25), "per decade",
              "ln of the scatter per decade; carbon bundles +0.12 (Naito 2014); "
              "odds 2:1 that it changes"),
        _batch_prior(series),
        Prior("cycled", Distribution("normal", 0.0, 0.05), "",
              "effect of preload cycling on ln S; no published gain found (see the evidence)"),
        Prior("temperature", Distribution("normal", -0.004, 0.004), "per K",
              "HMPE laminate -0.7 % per K over -10 to 70 C (2025, abstract); less in others"),
        Prior("discrepancy", Distribution("fixed", 0.012), "per sqrt(decade)",
              "departure of real cord from every law, a random walk tied to the tested speeds"),
    ]  # fmt: skip
    priors = RatePriors({p.name: p for p in table}, weights=dict(MODEL_WEIGHTS))
    return _with_options(priors, options or {})


def heat_place(series: Series, reach: Distribution) -> Prior:
    """Where the heat step lies, from the diameter where it is known."""
    if series.diameter_m is None:
        return Prior("place", reach, "log10(1/s)", "diameter not given: as corner")
    tau = (series.diameter_m / 2) ** 2 / (FIRST_ROOT_SQUARED * BRAID_DIFFUSIVITY)
    given = series.used.strain_at_break
    known = given[np.isfinite(given)]
    strain = float(np.median(known)) if known.size else 0.04
    centre = float(np.log10(strain / (HALF_HEAT * tau)))
    text = (
        f"heat balance: time constant {tau:.2g} s from the diameter, strain at break "
        f"{strain:.3g}{'' if known.size else ' (assumed)'}; within 0.6 decade; "
        f"with probability {HEAT_DOUBT:g} the balance does not apply and the step may lie anywhere"
    )
    return Prior(
        "place", Distribution("normal", centre, 0.6), "log10(1/s)", text, reach, HEAT_DOUBT
    )


def _batch_prior(series: Series) -> Prior:
    if series.batch_sd_fraction is not None:
        d = Distribution("lognormal", max(series.batch_sd_fraction, 1e-5), 1.5)
        return Prior("batch_sd", d, "", "given as batch_sd_fraction, within a factor of 1.5")
    d = Distribution("normal", 0.0, 0.019)
    return Prior("batch_sd", d, "", "half-normal, spools of one product differ by a few per cent "
                 "(common practice, no source)")  # fmt: skip


def _with_options(priors: RatePriors, options: Mapping[str, object]) -> RatePriors:
    """Apply ``[priors]`` and ``[machine.*]`` of campaign.toml."""
    parameters, weights = dict(priors.parameters), dict(priors.weights)
    table = options.get("priors", {})
    for key, value in table.items() if isinstance(table, Mapping) else ():
        if key == "model_weights" and isinstance(value, Mapping):
            weights = _model_weights(value, weights)
        elif key in parameters:
            parameters[key] = _given(parameters[key], key, value)
        else:
            raise InputError(
                f"prior {key!r} is not known",
                "one of " + ", ".join([*parameters, "model_weights"]),
                file="campaign.toml", column=f"priors.{key}",
            )  # fmt: skip
    machine_sd = dict(priors.machine_sd)
    machines = options.get("machine", {})
    for name, entry in machines.items() if isinstance(machines, Mapping) else ():
        sd = entry.get("calibration_sd_fraction") if isinstance(entry, Mapping) else None
        if isinstance(sd, int | float):
            machine_sd[name] = float(sd)
    return RatePriors(parameters, machine_sd, weights)


def _model_weights(given: Mapping[str, object], weights: dict[str, float]) -> dict[str, float]:
    names = [m.name for m in RATE_MODELS]
    for key, value in given.items():
        if key not in names or not isinstance(value, int | float) or not 0 <= value < 1e6:
            raise InputError(f"model weight {key} = {value!r}",
                             "a weight of 0 or more for one of " + ", ".join(names),
                             file="campaign.toml",
                             column=f"priors.model_weights.{key}")  # fmt: skip
        weights[key] = float(value)
    if sum(weights.values()) <= 0:
        raise InputError("all model weights are zero", "at least one above zero",
                         file="campaign.toml", column="priors.model_weights")  # fmt: skip
    return weights


def _given(prior: Prior, key: str, value: object) -> Prior:
    """A prior the user gives: {mean, sd}, {low, high}, {median, factor}, and an origin."""
    numbers = value if isinstance(value, Mapping) else {}
    kinds = {
        ("mean", "sd"): "normal",
        ("low", "high"): "uniform",
        ("median", "factor"): "lognormal",
    }
    for (first, second), kind in kinds.items():
        a, b = numbers.get(first), numbers.get(second)
        if isinstance(a, int | float) and isinstance(b, int | float):
            origin = str(numbers.get("origin", "given in campaign.toml"))
            d = Distribution(kind, float(a), float(b))  # type: ignore[arg-type]
            return Prior(key, d, prior.unit, origin)
    raise InputError(f"prior {key} = {value!r}",
                     "{ mean, sd }, { low, high } or { median, factor }, with an origin",
                     file="campaign.toml", column=f"priors.{key}")  # fmt: skip
