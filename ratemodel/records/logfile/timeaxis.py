"""What the time column says about itself: doubled and dropped samples, time running backwards."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from ratemodel.arrays import BoolArray, FloatArray
from ratemodel.errors import Problem

GAP = 1.5  # a step longer than this times the median step is a gap
# a clock written with few digits repeats; that many equal stamps are a coarse clock
_COARSE = 0.05


@dataclass
class TimeCheck:
    """Counts over one or many pieces of a log."""

    step: float = 0.0
    steps: int = 0
    backwards: int = 0
    doubled: int = 0
    equal: int = 0
    gaps: int = 0
    longest: float = 0.0
    _last: tuple[float, float] | None = field(default=None)

    def add(self, time: FloatArray, force: FloatArray) -> BoolArray:
        """Count one piece; the mask of samples that repeat the one before comes back."""
        if self._last is not None:
            time = np.concatenate([[self._last[0]], time])
            force = np.concatenate([[self._last[1]], force])
        step = np.diff(time)
        repeated = np.zeros(len(time), dtype=np.bool_)
        lowest = float(step.min()) if len(step) else 1.0
        if lowest <= 0:
            repeated[1:] = (step == 0) & (np.diff(force) == 0)
            self.doubled += int(repeated.sum())
            self.equal += int(np.count_nonzero(step == 0))
            self.backwards += int(np.count_nonzero(step < 0))
        if self.step == 0 and len(step):
            self.step = median_step(step)
        if len(step) and step.max() > GAP * self.step > 0:
            self.gaps += int(np.count_nonzero(step > GAP * self.step))
            self.longest = max(self.longest, float(step.max()))
        self.steps += len(step)
        self._last = (float(time[-1]), float(force[-1])) if len(time) else self._last
        return repeated[len(time) - (len(step) + 1) :]

    @property
    def coarse(self) -> bool:
        """Whether equal stamps are so many that the clock was written with too few digits."""
        return self.equal > max(_COARSE * self.steps, 1) and self.equal > self.doubled

    def findings(self) -> tuple[Problem, ...]:
        """Say the counts in words."""
        found: list[Problem] = []
        if self.backwards:
            message = (
                f"time runs backwards {self.backwards} times: rates and times across such a step"
                " are not to be had; export the log again in the order of recording"
            )
            found.append(Problem("time-backwards", message, "serious"))
        if self.coarse:
            message = (
                f"{self.equal} samples share the time of the sample before: the clock is written"
                " with too few digits; rates are taken across many samples"
            )
            found.append(Problem("time-coarse", message, "caution"))
        if self.doubled:
            message = f"{self.doubled} samples repeat the one before and were left out"
            found.append(Problem("samples-doubled", message, "note"))
        if self.gaps and not self.coarse:
            message = (
                f"{self.gaps} gaps in time, the longest {self.longest:.4g} s at a step of"
                f" {self.step:.4g} s: samples were dropped"
            )
            found.append(Problem("samples-dropped", message, "caution"))
        return tuple(found)


def median_step(step: FloatArray) -> float:
    """Median of the positive steps; a sample of them is enough in a long log."""
    some = step if len(step) <= 20_000 else step[:: len(step) // 10_000]
    ahead = some[some > 0]
    if not len(ahead):
        ahead = step[step > 0]
    return float(np.median(ahead)) if len(ahead) else 0.0
