"""The picture of a coverage study: every share with the simulation's own range."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from matplotlib.figure import Figure

from ratemodel.charts import coverage_chart

TABLE = pd.DataFrame(
    {"part": "inside", "cell": ["flat", "step"], "campaigns": [400, 100],
     "mean": [0.95, 0.90], "one specimen": [0.96, 0.93]}
)  # fmt: skip


def test_every_share_is_drawn_with_its_range() -> None:
    ax = coverage_chart(TABLE, nominal=0.95)
    for kind, container in zip(("mean", "one specimen"), ax.containers, strict=True):
        assert container.get_label() == kind
        points, _, (bars,) = container.lines
        np.testing.assert_allclose(points.get_xdata(), TABLE[kind])
        half = [np.ptp(s[:, 0]) / 2 for s in bars.get_segments()]
        p, n = TABLE[kind], TABLE["campaigns"]
        np.testing.assert_allclose(half, 1.96 * np.sqrt(p * (1 - p) / n))
    assert [t.get_text() for t in ax.get_yticklabels()] == ["flat", "step"]
    assert {t.get_text() for t in ax.get_legend().get_texts()} == {"mean", "one specimen"}
    assert "promised 95 %" in ax.get_label()
    assert "mean 90 to 95 %" in ax.get_label()
    ax.figure.canvas.draw()


@pytest.mark.parametrize("nominal", [0.9, 0.95])
def test_the_promise_is_marked_and_given_axes_are_used(nominal: float) -> None:
    axes = Figure().add_subplot()
    assert coverage_chart(TABLE, nominal=nominal, ax=axes) is axes
    line = next(x for x in axes.lines if x.get_label() == "_nominal")
    assert line.get_xdata()[0] == nominal
