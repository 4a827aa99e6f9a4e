"""Numbers at the ends of what a float holds: a record or one clear line, never another error."""

import numpy as np
import pytest

from ratemodel.errors import InputError
from ratemodel.records.logfile import read_log
from ratemodel.reduction import ReductionSettings, reduce_log

SETTINGS = ReductionSettings(free_length_m=0.5)
TIME = np.arange(60) * 0.01


def log(tmp_path, time, position, force):
    rows = "\n".join(f"{t!r},{p!r},{f!r}" for t, p, f in zip(
        time.tolist(), position.tolist(), force.tolist(), strict=True))  # fmt: skip
    path = tmp_path / "log.csv"
    path.write_text(f"time_s,position_mm,force_N\n{rows}\n")
    return path


@pytest.mark.parametrize(
    ("factors", "says"),
    [
        ((1e15, 1, 1), r"a time of .* s is beyond any real value"),
        ((1, 1e200, 1), r"a position of .* m is beyond any real value"),
        ((1, 1, 1e160), r"a force of .* N is beyond any real value"),
        ((1, 1, -1e160), r"a force of .* N is beyond any real value"),
        ((1e-300, 1, 1), r"samples 1e-302 s apart; expected at least 1e-12 s"),
    ],
)
def test_what_no_machine_reads_is_refused(tmp_path, factors, says):
    position, force = TIME * 20, 5.0 * TIME**1.2 * 1000
    path = log(tmp_path, *(v * f for v, f in zip((TIME, position, force), factors, strict=True)))
    with pytest.raises(InputError, match=says):
        read_log(path)


def test_noise_far_below_the_last_digit_of_the_peak(tmp_path):
    """Found by the fuzzer: six deviations of the noise vanish beside the peak."""
    force = np.where(TIME < 0.3, 1e-9 * np.arange(60) % 3e-9, 1e11 * (TIME - 0.29))
    record = reduce_log(read_log(log(tmp_path, TIME, TIME * 20, force)), SETTINGS)
    assert record.peak_force_N == pytest.approx(1e11 * 0.3)
    assert np.isfinite(record.peak_high_by_at_most_N)
