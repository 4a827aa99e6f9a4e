"""What the picture of a log shows: artists, not pixels."""

from __future__ import annotations

import sys
from dataclasses import replace

import numpy as np
import pytest
from matplotlib.colors import to_hex
from matplotlib.figure import Figure

from ratemodel.charts.log_chart import log_chart
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
    assert "not a working load" in axes.get_title(loc="left")
    (line,) = [x for x in axes.lines if x.get_label() == "_force"]
    assert line.get_ydata().max() == pytest.approx(record.peak_force_N / 1e3)
    assert len(line.get_xdata()) <= len(log)


def test_a_survivor_says_so_and_serious_findings_stand_in_the_title():
    _, record, axes = _drawn(replace(TRUTH, ending="stopped", tail_fraction=0, late_drops=()))
    assert record.censored
    assert any(t.get_text().startswith("peak ≥") for t in axes.texts)
    assert "held at least the peak" in axes.get_title(loc="left")
    assert "log-ends-at-peak" in axes.get_title(loc="left")


def test_a_long_log_is_drawn_by_its_extremes():
    log, record, axes = _drawn(replace(TRUTH, sample_rate_Hz=3000))
    (line,) = [x for x in axes.lines if x.get_label() == "_force"]
    assert len(line.get_xdata()) < 5000 < len(log)
    assert line.get_ydata().max() == pytest.approx(record.peak_force_N / 1e3)


def test_a_name_is_never_mathematics():
    _, _, axes = _drawn(name="price $x^2$ and $.csv")
    axes.figure.canvas.draw()
    assert "price $x^2$" in axes.get_title(loc="left")


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


def test_colours_are_of_the_set_told_apart_by_all():
    """Okabe and Ito, Color Universal Design (2008)."""
    okabe_ito = {"#000000", "#e69f00", "#56b4e9", "#009e73", "#f0e442", "#0072b2", "#d55e00"}
    okabe_ito |= {"#cc79a7"}
    _, _, axes = _drawn()
    used = {to_hex(t.get_color()) for t in axes.texts}
    assert used <= okabe_ito
