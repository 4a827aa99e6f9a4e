"""Least squares against the certified values of NIST StRD (nonlinear regression), start 2.

Source: NIST/ITL Statistical Reference Datasets, https://www.itl.nist.gov/div898/strd/ ; files in
tests/reference/nist.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from ratemodel.inference.leastsq import BestFit, best_fit
from ratemodel.inference.starts import FitTask
from ratemodel.models.parameter import Parameter

NIST = Path(__file__).resolve().parents[1] / "reference" / "nist"


def _rational(b, x, top, bottom):
    up = sum(b[i] * x**i for i in range(top))
    return up / (1 + sum(b[top + i] * x ** (i + 1) for i in range(bottom)))


def _gauss(b, x):
    return (
        b[0] * np.exp(-b[1] * x)
        + b[2] * np.exp(-((x - b[3]) ** 2) / b[4] ** 2)
        + b[5] * np.exp(-((x - b[6]) ** 2) / b[7] ** 2)
    )


def _lanczos(b, x):
    return sum(b[2 * i] * np.exp(-b[2 * i + 1] * x) for i in range(3))


def _chwirut(b, x):
    return np.exp(-b[0] * x) / (b[1] + b[2] * x)


def _enso(b, x):
    turn = 2 * np.pi * x
    out = b[0] + b[1] * np.cos(turn / 12) + b[2] * np.sin(turn / 12)
    out = out + b[4] * np.cos(turn / b[3]) + b[5] * np.sin(turn / b[3])
    return out + b[7] * np.cos(turn / b[6]) + b[8] * np.sin(turn / b[6])


MODELS = {
    "Bennett5": lambda b, x: b[0] * (b[1] + x) ** (-1 / b[2]),
    "BoxBOD": lambda b, x: b[0] * (1 - np.exp(-b[1] * x)),
    "Chwirut1": _chwirut,
    "Chwirut2": _chwirut,
    "DanWood": lambda b, x: b[0] * x ** b[1],
    "ENSO": _enso,
    "Eckerle4": lambda b, x: (b[0] / b[1]) * np.exp(-0.5 * ((x - b[2]) / b[1]) ** 2),
    "Gauss1": _gauss,
    "Gauss2": _gauss,
    "Gauss3": _gauss,
    "Hahn1": lambda b, x: _rational(b, x, 4, 3),
    "Kirby2": lambda b, x: _rational(b, x, 3, 2),
    "Lanczos1": _lanczos,
    "Lanczos2": _lanczos,
    "Lanczos3": _lanczos,
    "MGH09": lambda b, x: b[0] * (x**2 + x * b[1]) / (x**2 + x * b[2] + b[3]),
    "MGH10": lambda b, x: b[0] * np.exp(b[1] / (x + b[2])),
    "MGH17": lambda b, x: b[0] + b[1] * np.exp(-x * b[3]) + b[2] * np.exp(-x * b[4]),
    "Misra1a": lambda b, x: b[0] * (1 - np.exp(-b[1] * x)),
    "Misra1b": lambda b, x: b[0] * (1 - (1 + b[1] * x / 2) ** -2),
    "Misra1c": lambda b, x: b[0] * (1 - (1 + 2 * b[1] * x) ** -0.5),
    "Misra1d": lambda b, x: b[0] * b[1] * x / (1 + b[1] * x),
    "Nelson": lambda b, x: b[0] - b[1] * x[:, 0] * np.exp(-b[2] * x[:, 1]),
    "Rat42": lambda b, x: b[0] / (1 + np.exp(b[1] - b[2] * x)),
    "Rat43": lambda b, x: b[0] / (1 + np.exp(b[1] - b[2] * x)) ** (1 / b[3]),
    "Roszman1": lambda b, x: b[0] - b[1] * x - np.arctan(b[2] / (x - b[3])) / np.pi,
    "Thurber": lambda b, x: _rational(b, x, 4, 3),
}


def read_nist(name: str):
    """x, y and the rows (start 1, start 2, certified, certified sd) of one file."""
    lines = (NIST / f"{name}.dat").read_text().splitlines()
    rows = []
    for line in lines[40:60]:
        if line.strip().startswith("b") and "=" in line:
            rows.append([float(v) for v in line.split("=")[1].split()])
    data = np.array([[float(v) for v in line.split()] for line in lines[60:] if line.strip()])
    x = data[:, 1] if data.shape[1] == 2 else data[:, 1:]
    y = np.log(data[:, 0]) if name == "Nelson" else data[:, 0]
    return x, y, np.array(rows)


def fit_nist(name: str) -> tuple[BestFit, np.ndarray]:
    x, y, rows = read_nist(name)
    names = [f"b{i + 1}" for i in range(len(rows))]

    def curve(values):
        return MODELS[name]([values[k] for k in names], x)

    task = FitTask(
        curve, y, tuple(Parameter(n) for n in names), dict(zip(names, rows[:, 1], strict=True))
    )
    return best_fit(task, rng=np.random.default_rng(1), starts=3), rows


@pytest.mark.parametrize("name", sorted(MODELS))
def test_certified_values_from_start_2(name):
    fit, rows = fit_nist(name)
    got = np.array(list(fit.values.values()))
    digits = -np.log10(np.max(np.abs(got / rows[:, 2] - 1)) + 1e-16)
    assert digits >= 5, (name, digits)
    assert fit.verdict == "good", fit.problems


@pytest.mark.parametrize("name", sorted(set(MODELS) - {"Lanczos1"}))
def test_certified_standard_deviations(name):
    fit, rows = fit_nist(name)
    got = np.array(list(fit.standard_errors.values()))
    np.testing.assert_allclose(got, rows[:, 3], rtol=1e-5)
