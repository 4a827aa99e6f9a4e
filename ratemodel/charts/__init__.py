"""One function per picture: a result in, axes out; nothing is computed here.

Every chart is drawn in the house style (`style`), states its data, interval and extrapolation, and
carries its alternative text as the label of its axes; `picture` shows it in a notebook and
`save_figure` writes it.
"""

from ratemodel.charts import alt_lab, alt_text
from ratemodel.charts.compare_chart import ranking_chart, ratio_chart
from ratemodel.charts.coverage_chart import coverage_chart
from ratemodel.charts.creep_chart import creep_chart, sherby_dorn_chart
from ratemodel.charts.event_chart import (
    demand_against_strength,
    force_against_strain,
    force_against_time,
)
from ratemodel.charts.fast_preload_chart import fast_preload_chart
from ratemodel.charts.life_chart import life_chart
from ratemodel.charts.limits_chart import limits_chart
from ratemodel.charts.log_chart import log_chart
from ratemodel.charts.models_chart import models_chart
from ratemodel.charts.next_test_chart import next_test_chart
from ratemodel.charts.plan_chart import design_on_rate_axis, interval_against_hours
from ratemodel.charts.preload_chart import preload_chart
from ratemodel.charts.saving import Picture, picture, save_figure
from ratemodel.charts.steps_chart import steps_chart
from ratemodel.charts.strength_rate import strength_against_rate
from ratemodel.charts.style import style
from ratemodel.charts.what_if_chart import what_if_chart

__all__ = [
    "Picture",
    "alt_lab",
    "alt_text",
    "coverage_chart",
    "creep_chart",
    "demand_against_strength",
    "design_on_rate_axis",
    "fast_preload_chart",
    "force_against_strain",
    "force_against_time",
    "interval_against_hours",
    "life_chart",
    "limits_chart",
    "log_chart",
    "models_chart",
    "next_test_chart",
    "picture",
    "preload_chart",
    "ranking_chart",
    "ratio_chart",
    "save_figure",
    "sherby_dorn_chart",
    "steps_chart",
    "strength_against_rate",
    "style",
    "what_if_chart",
]
