"""What the time column says about itself: doubled and dropped samples, time running backwards."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from ratemodel.arrays import FloatArray, IntArray
from ratemodel.errors import Problem

GAP = 1.5  # a step longer than this times the median step is a gap
# a clock written with few digits repeats; that many equal stamps are a coarse clock
_COARSE = 0.05
_BLOCK = 1 << 15
_SAMPLE = 10_000


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

    def add(self, time: FloatArray, force: FloatArray) -> IntArray:
        """Count one piece; the indices of samples that repeat the one before come back."""
        if self.step == 0 and len(time) > 1:
            self.step = median_step(time)
        repeated = []
        # blocks that stay in the processor's cache
        for start in range(0, len(time), _BLOCK):
            part = slice(start, start + _BLOCK)
            repeated.append(start + self._add(time[part], force[part]))
        return np.concatenate(repeated) if repeated else np.empty(0, dtype=np.int64)

    def _add(self, time: FloatArray, force: FloatArray) -> IntArray:
        before = self._last
        self._last = (float(time[-1]), float(force[-1]))
        step = np.diff(time) if before is None else np.diff(time, prepend=before[0])
        shift = 1 if before is None else 0
        self.steps += len(step)
        if not len(step):
            return np.empty(0, dtype=np.int64)
        longest = float(step.max())
        if longest > GAP * self.step > 0:
            self.gaps += int(np.count_nonzero(step > GAP * self.step))
            self.longest = max(self.longest, longest)
        if float(step.min()) > 0:
            return np.empty(0, dtype=np.int64)
        moved = np.diff(force) if before is None else np.diff(force, prepend=before[1])
        repeated = np.flatnonzero((step == 0) & (moved == 0))
        self.doubled += len(repeated)
        self.equal += int(np.count_nonzero(step == 0))
        self.backwards += int(np.count_nonzero(step < 0))
        return repeated + shift

    @property
    def coarse(self) -> bool:
        """Whether equal stamps are so many that the clock was written with too few digits."""
        return self.equal > max(_COARSE * self.steps, 1) and self.equal > self.doubled

    def findings(self, factor: float = 1.0) -> tuple[Problem, ...]:
        """Say the counts in words; `factor` takes the unit of the time column to seconds."""
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
                f"{self.gaps} gaps in time, the longest {self.longest * factor:.4g} s at a step of"
                f" {self.step * factor:.4g} s: samples were dropped"
            )
            found.append(Problem("samples-dropped", message, "caution"))
        return tuple(found)


def median_step(time: FloatArray) -> float:
    """Median of the positive steps; the start, middle and end of a long log are enough."""
    n = len(time)
    if n > 3 * _SAMPLE:
        middle = n // 2
        parts = [time[:_SAMPLE], time[middle : middle + _SAMPLE], time[-_SAMPLE:]]
    else:
        parts = [time]
    step = np.concatenate([np.diff(p) for p in parts])
    ahead = step[step > 0]
    if not len(ahead):
        step = np.diff(time)
        ahead = step[step > 0]
    return float(np.median(ahead)) if len(ahead) else 0.0
