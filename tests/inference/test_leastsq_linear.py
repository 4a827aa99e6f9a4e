"""A linear NIST StRD set of higher difficulty through the same least squares."""

import numpy as np
import pytest
from statsmodels.datasets import longley

from ratemodel.inference.leastsq import best_fit
from ratemodel.inference.starts import FitTask
from ratemodel.models.parameter import Parameter

#: NIST StRD, Longley: certified estimates, standard deviations and residual sd (from memory).
CERTIFIED = (
    (-3482258.63459582, 890420.383607373),
    (15.0618722713733, 84.9149257747669),
    (-0.358191792925910e-01, 0.334910077722432e-01),
    (-2.02022980381683, 0.488399681651699),
    (-1.03322686717359, 0.214274163161675),
    (-0.511041056535807e-01, 0.226073200069370),
    (1829.15146461355, 455.478499142212),
)
RESIDUAL_SD = 304.854073561965


def test_longley():
    """Data from statsmodels (public domain), columns centred and scaled as a user would."""
    data = longley.load_pandas()
    raw, y = data.exog.to_numpy(float), data.endog.to_numpy(float)
    middle, spread = raw.mean(axis=0), raw.std(axis=0)
    x = np.column_stack([np.ones(16), (raw - middle) / spread])
    names = [f"b{i}" for i in range(7)]

    def curve(values):
        return x @ np.array([values[n] for n in names])

    task = FitTask(curve, y, tuple(Parameter(n) for n in names), dict.fromkeys(names, 1.0))
    fit = best_fit(task, rng=np.random.default_rng(1))
    slopes = np.array([fit.values[n] for n in names[1:]]) / spread
    errors = np.array([fit.standard_errors[n] for n in names[1:]]) / spread
    assert slopes == pytest.approx([e for e, _ in CERTIFIED[1:]], rel=1e-6)
    assert errors == pytest.approx([s for _, s in CERTIFIED[1:]], rel=1e-6)
    intercept = fit.values["b0"] - float(slopes @ middle)
    assert intercept == pytest.approx(CERTIFIED[0][0], rel=1e-6)
    assert fit.residual_sd == pytest.approx(RESIDUAL_SD, rel=1e-9)
