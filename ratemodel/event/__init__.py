"""Fall, snatch and steady load: draws of demand and of the rate at which it comes."""

from __future__ import annotations

from ratemodel.event.draws import event_draws, sample_quantities
from ratemodel.event.linear import fall, snatch
from ratemodel.event.result import STANDARD_GRAVITY_M_PER_S2, Event

__all__ = [
    "STANDARD_GRAVITY_M_PER_S2",
    "Event",
    "event_draws",
    "fall",
    "sample_quantities",
    "snatch",
]
