"""Machine logs with known truth, for tests, studies and the demonstration.

The specimen lengthens with force as x(F) = F/K + a (1 − exp(−F/F_a)): a soft start (bedding-in)
that joins a straight line. The crosshead moves at one speed throughout; slack, preload cycles with
residual elongation and hysteresis, a hold with creep, strand breaks, the frame's own stretch, and
what logger and load cell do to the reading are laid on top.
"""

from __future__ import annotations

from ratemodel.simulate_logs.path import answer
from ratemodel.simulate_logs.sample import simulate_log, write_log_csv
from ratemodel.simulate_logs.truth import (
    HoldTruth,
    LogAnswer,
    LogTruth,
    PreloadTruth,
    random_truth,
)

__all__ = [
    "HoldTruth",
    "LogAnswer",
    "LogTruth",
    "PreloadTruth",
    "answer",
    "random_truth",
    "simulate_log",
    "write_log_csv",
]
