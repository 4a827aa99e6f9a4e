"""What a plan is asked: the machines at hand, the question, the budget, and what is known."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

import numpy as np

from ratemodel.errors import InputError
from ratemodel.inference.priors import RatePriors
from ratemodel.inference.ratefit import Bound, RateFit
from ratemodel.records.tables import Series
from ratemodel.translation import ASSUMED_STRAIN

#: Set-up per specimen where none is stated, s.
SET_UP_S = 900.0


@dataclass(frozen=True)
class Machine:
    """One machine.

    Attributes
    ----------
    speed_min_m_per_s, speed_max_m_per_s : float
        Crosshead speeds it can hold.
    force_limit_N : float
        Most it can pull.
    setup_s : float
        Set-up per specimen: terminations, mounting, clearing away.
    """

    name: str
    speed_min_m_per_s: float
    speed_max_m_per_s: float
    force_limit_N: float = float("inf")
    setup_s: float = SET_UP_S

    def __post_init__(self) -> None:
        if not 0 < self.speed_min_m_per_s <= self.speed_max_m_per_s < np.inf:
            raise InputError(
                f"machine {self.name}: speeds from {self.speed_min_m_per_s:g} to "
                f"{self.speed_max_m_per_s:g} m/s",
                "a lowest speed above 0 and not above the highest",
            )
        if not (self.force_limit_N > 0 and 0 <= self.setup_s < np.inf):
            raise InputError(
                f"machine {self.name}: force limit {self.force_limit_N:g} N, set-up "
                f"{self.setup_s:g} s",
                "a limit above 0 and a time of 0 or more",
            )


@dataclass(frozen=True)
class Question:
    """What the tests are to tell.

    Attributes
    ----------
    kind : {"mean", "bound", "effect"}
        ``mean``: mean strength at a rate. ``bound``: strength that the fraction of the lower bound
        reaches there. ``effect``: mean strength at the rate over that at ``reference_per_s``.
    strain_rate_per_s : float
        The rate asked about.
    reference_per_s : float, optional
        The other rate of an effect.
    """

    kind: Literal["mean", "bound", "effect"]
    strain_rate_per_s: float
    reference_per_s: float | None = None

    def __post_init__(self) -> None:
        rates = [self.strain_rate_per_s]
        if self.kind == "effect":
            rates.append(self.reference_per_s if self.reference_per_s is not None else -1.0)
        if not all(0 < r < np.inf for r in rates):
            raise InputError(
                f"question {self.kind} at {self.strain_rate_per_s:g} /s",
                "strain rates above 0 (two of them for an effect)",
            )

    @property
    def u(self) -> float:
        """log10 of the rate asked about."""
        return float(np.log10(self.strain_rate_per_s))

    @property
    def words(self) -> str:
        """The question as a phrase."""
        rate = f"{self.strain_rate_per_s:.3g} /s"
        if self.kind == "effect":
            return f"strength at {rate} over that at {self.reference_per_s:.3g} /s"
        return f"mean strength at {rate}" if self.kind == "mean" else f"lower bound at {rate}"


@dataclass(frozen=True)
class PlanRequest:
    """Everything a plan starts from.

    Attributes
    ----------
    machines : tuple of Machine
    question : Question
    hours : float
        Machine hours, set-up included, summed over machines.
    specimens : int
        Most specimens.
    known : RateFit, optional
        What has been tested; None: prior knowledge alone.
    series : Series, optional
        The product, where nothing of it has been tested (its diameter tells where heat sets in);
        taken from ``known`` otherwise.
    free_length_m, strain_at_break : float
        Of the specimens to come.
    spools : tuple of str
        Spools to cut from; empty: those already tested, or one.
    strength_N : float, optional
        Expected strength; taken from ``known`` where there is one.
    priors : RatePriors, optional
        Replaces the default priors where nothing has been tested.
    models : tuple of str
        Models in play where nothing has been tested; empty for all.
    preload_bias_limit : float
        A fast preload before a slow pull is used where its bias stays below this; 0 = never.
    least_per_speed : int
        Fewest specimens at a speed that is used at all.
    level, bound
        Of the intervals and of the lower bound.
    """

    machines: tuple[Machine, ...]
    question: Question
    hours: float = 8.0
    specimens: int = 15
    known: RateFit | None = None
    series: Series | None = None
    free_length_m: float = 0.5
    strain_at_break: float = ASSUMED_STRAIN
    spools: tuple[str, ...] = ()
    strength_N: float | None = None
    priors: RatePriors | None = None
    models: tuple[str, ...] = ()
    preload_bias_limit: float = 0.001
    least_per_speed: int = 2
    level: float = 0.90
    bound: Bound = field(default_factory=Bound)

    def __post_init__(self) -> None:
        names = [m.name for m in self.machines]
        if not names or len(set(names)) < len(names):
            raise InputError(f"machines {', '.join(names) or 'none'}",
                             "at least one machine, each name once")  # fmt: skip
        checks = {
            "hours": 0 < self.hours < np.inf,
            "specimens": 1 <= self.specimens <= 10_000,
            "free_length_m": 0 < self.free_length_m < np.inf,
            "strain_at_break": 0 < self.strain_at_break < 5,
            "preload_bias_limit": 0 <= self.preload_bias_limit < 1,
            "least_per_speed": 1 <= self.least_per_speed <= self.specimens,
            "level": 0.5 <= self.level < 1,
            "strength_N": self.strength_N is None or 0 < self.strength_N < np.inf,
        }
        for name, good in checks.items():
            if not good:
                raise InputError(f"{name} is {getattr(self, name)}", "a sensible positive number",
                                 column=name)  # fmt: skip
        if len(set(self.spools)) < len(self.spools):
            raise InputError(f"spools {', '.join(self.spools)}", "each spool once")

    @property
    def rate_range(self) -> tuple[float, float]:
        """Lowest and highest strain rate (1/s) of all machines."""
        return (min(m.speed_min_m_per_s for m in self.machines) / self.free_length_m,
                max(m.speed_max_m_per_s for m in self.machines) / self.free_length_m)  # fmt: skip

    @property
    def product(self) -> Series | None:
        """The product, from what was tested or as described."""
        return self.known.series if self.known is not None else self.series
