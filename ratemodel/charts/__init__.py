"""One function per picture: a result in, axes out; nothing is computed here."""

from ratemodel.charts import alt_text
from ratemodel.charts.event_chart import (
    demand_against_strength,
    force_against_strain,
    force_against_time,
)
from ratemodel.charts.limits_chart import limits_chart
from ratemodel.charts.log_chart import log_chart
from ratemodel.charts.models_chart import models_chart
from ratemodel.charts.next_test_chart import next_test_chart
from ratemodel.charts.saving import Picture, picture, save_figure
from ratemodel.charts.steps_chart import steps_chart
from ratemodel.charts.strength_rate import strength_against_rate
from ratemodel.charts.style import style
from ratemodel.charts.what_if_chart import what_if_chart

__all__ = [
    "Picture",
    "alt_text",
    "demand_against_strength",
    "force_against_strain",
    "force_against_time",
    "limits_chart",
    "log_chart",
    "models_chart",
    "next_test_chart",
    "picture",
    "save_figure",
    "steps_chart",
    "strength_against_rate",
    "style",
    "what_if_chart",
]
