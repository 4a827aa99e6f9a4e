"""From a machine log to one row of the break table."""

from __future__ import annotations

from ratemodel.reduction.batch import ReducedTable, reduce_logs, write_reduced
from ratemodel.reduction.record import BreakRecord, ReductionSettings
from ratemodel.reduction.reduce import reduce_log

__all__ = [
    "BreakRecord",
    "ReducedTable",
    "ReductionSettings",
    "reduce_log",
    "reduce_logs",
    "write_reduced",
]
