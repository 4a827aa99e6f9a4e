"""Fall, snatch and steady load: draws of demand and of the rate at which it comes."""

from __future__ import annotations

from ratemodel.event.course import Course, course
from ratemodel.event.draws import event_draws, median_course, sample_quantities, widened_event_draws
from ratemodel.event.laws import Linear, PowerLaw, Recorded, loading_curve
from ratemodel.event.linear import fall, snatch
from ratemodel.event.lines import Line, Parallel, Series
from ratemodel.event.loading import Damping, Mover, Slip
from ratemodel.event.result import STANDARD_GRAVITY_M_PER_S2, Event
from ratemodel.event.shock import shock

__all__ = [
    "STANDARD_GRAVITY_M_PER_S2",
    "Course",
    "Damping",
    "Event",
    "Line",
    "Linear",
    "Mover",
    "Parallel",
    "PowerLaw",
    "Recorded",
    "Series",
    "Slip",
    "course",
    "event_draws",
    "fall",
    "loading_curve",
    "median_course",
    "sample_quantities",
    "shock",
    "snatch",
    "widened_event_draws",
]
