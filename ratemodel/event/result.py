"""What one event asks of the line: force, strain, time and rate, one value per draw."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from ratemodel.arrays import FloatArray
from ratemodel.errors import Problem

STANDARD_GRAVITY_M_PER_S2 = 9.80665
"""Standard acceleration of free fall, exact by convention (3rd CGPM, 1901)."""


@dataclass(frozen=True)
class Event:
    """Demand and rate of one use, joint over draws; every array has shape ``(draws,)``.

    Attributes
    ----------
    kind : str
        ``"fall"``, ``"snatch"``, ``"steady"`` or ``"rate"``.
    peak_force_N : array or None
        Largest force in the line; None where only a rate is given (kind ``"rate"``).
    peak_strain : array or None
        Strain of the line at that moment.
    time_to_peak_s : array or None
        From the line coming taut (or, preloaded, from the start of the shock) to the peak.
    strain_rate_per_s : array or None
        Mean strain rate between 50 % and 100 % of the peak force: the rate at which the strength
        is to be read. None for kind ``"steady"``, where the duration decides.
    mean_strain_rate_per_s : array or None
        Strain gained over the whole of ``time_to_peak_s``, divided by it.
    initial_strain_rate_per_s : array or None
        Closing speed over line length.
    duration_s : array or None
        Time under load, kind ``"steady"``.
    run_out_m : array or None
        Length run through the slipping device up to the end of the event.
    inputs : mapping of str to array
        The sampled quantities behind each draw, by name, for the shares of the variance.
    problems : tuple of Problem
        Named facts that limit how far the event may be trusted.
    """

    kind: str
    peak_force_N: FloatArray | None = None
    peak_strain: FloatArray | None = None
    time_to_peak_s: FloatArray | None = None
    strain_rate_per_s: FloatArray | None = None
    mean_strain_rate_per_s: FloatArray | None = None
    initial_strain_rate_per_s: FloatArray | None = None
    duration_s: FloatArray | None = None
    run_out_m: FloatArray | None = None
    inputs: Mapping[str, FloatArray] = field(default_factory=dict)
    problems: tuple[Problem, ...] = ()
