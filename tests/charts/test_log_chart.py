"""What the picture of a log shows: artists, not pixels."""

from __future__ import annotations

import sys
from dataclasses import replace

import numpy as np
import pytest
from matplotlib.colors import to_hex
from matplotlib.figure import Figure

from ratemodel.charts.log_chart import log_chart
from ratemodel.charts.palette import colours
from ratemodel.charts.style import style
from ratemodel.reduction import ReductionSettings, reduce_log
from ratemodel.simulate_logs import HoldTruth, LogTruth, PreloadTruth, simulate_log

TRUTH = LogTruth(
    preload=PreloadTruth(cycles=4),
    hold=HoldTruth(0.7, 20.0, 2e-5),
    drops=((0.85, 0.06),),
    late_drops=(0.15,),
    force_noise_N=20,
    sample_rate_Hz=200,
)


def _foot(axes):
    return " ".join(next(t for t in axes.texts if t.get_gid() == "footer").get_text().split())


def _drawn(truth=TRUTH, name="log.csv"):
    log = simulate_log(truth, np.random.default_rng(3), name=name)
    record = reduce_log(log, ReductionSettings(free_length_m=0.5))
    return log, record, log_chart(log, record)


def test_everything_found_is_drawn_and_labelled():
    log, record, axes = _drawn()
    texts = [t.get_text() for t in axes.texts]
    assert [t for t in texts if t in "1234"] == ["1", "2", "3", "4"]
    assert sum(t.startswith("strand?") for t in texts) == len(record.drops) == 2
    assert sum(t.startswith("hold") for t in texts) == 1
    assert any(t.startswith("peak 12.0") for t in texts)
    assert {"rate taken here", "slack ends", "bedded in"} <= set(texts)
    assert "not a working load" in _foot(axes)
    assert "4 preload cycles. 1 hold. 2 strand drops." in axes.get_label()
    assert "not a working load" in axes.get_label()
    (line,) = [x for x in axes.lines if x.get_label() == "_force"]
    assert line.get_ydata().max() == pytest.approx(record.peak_force_N / 1e3)
    assert len(line.get_xdata()) <= len(log)


def test_a_survivor_says_so_and_serious_findings_stand_below():
    _, record, axes = _drawn(replace(TRUTH, ending="stopped", tail_fraction=0, late_drops=()))
    assert record.censored
    assert any(t.get_text().startswith("peak ≥") for t in axes.texts)
    assert "held at least the peak" in _foot(axes)
    assert "log-ends-at-peak" in _foot(axes)
    assert "It held at least" in axes.get_label()


def test_a_long_log_is_drawn_by_its_extremes():
    log, record, axes = _drawn(replace(TRUTH, sample_rate_Hz=3000))
    (line,) = [x for x in axes.lines if x.get_label() == "_force"]
    assert len(line.get_xdata()) < 5000 < len(log)
    assert line.get_ydata().max() == pytest.approx(record.peak_force_N / 1e3)


def test_a_name_is_never_mathematics():
    _, _, axes = _drawn(name="price $x^2$ and $.csv")
    axes.figure.canvas.draw()
    assert r"price \$x^2\$" in axes.get_title(loc="left")


def test_it_draws_where_it_is_told_and_touches_no_global_state():
    log, record, _ = _drawn()
    axes = Figure().add_subplot()
    before = sys.modules.get("matplotlib.pyplot")
    assert log_chart(log, record, ax=axes) is axes
    assert sys.modules.get("matplotlib.pyplot") is before


def test_a_log_recorded_negative_is_drawn_upright():
    log = simulate_log(replace(TRUTH, force_sign=-1), np.random.default_rng(3))
    axes = log_chart(log, reduce_log(log, ReductionSettings(free_length_m=0.5)))
    (line,) = [x for x in axes.lines if x.get_label() == "_force"]
    assert line.get_ydata().max() > 11.9


@pytest.mark.parametrize("theme", ["light", "dark"])
def test_colours_are_those_of_the_house(theme):
    with style(theme) as palette:
        _, _, axes = _drawn()
    drawn = {to_hex(t.get_color()) for t in axes.texts} | {
        to_hex(x.get_color()) for x in axes.lines
    }
    assert drawn <= {to_hex(c) for c in colours(palette)}


def test_force_is_in_the_readers_unit():
    log = simulate_log(TRUTH, np.random.default_rng(3))
    record = reduce_log(log, ReductionSettings(free_length_m=0.5))
    axes = log_chart(log, record, units="lbf")
    (line,) = [x for x in axes.lines if x.get_label() == "_force"]
    assert line.get_ydata().max() == pytest.approx(record.peak_force_N / 4.4482216152605)
    assert axes.get_ylabel() == "force (lbf)"
    assert "lbf" in axes.get_label()
