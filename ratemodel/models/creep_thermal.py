"""Steady creep by two thermally activated processes side by side."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from ratemodel.arrays import FloatArray
from ratemodel.models.creep import Burgers, Findley, Logarithmic
from ratemodel.models.creep_base import STRAIN0, TAU, CreepModel, CreepPoints, Values
from ratemodel.models.parameter import Parameter


@dataclass(frozen=True)
class TwoProcess(CreepModel):
    """Primary creep, then a steady rate carried by two activated processes in parallel.

    Both creep at the same rate and share the load: f is the sum over i of
    (T/T_ref / v_i) arsinh(rate / rate_i(T)), with rate_i(T) = rate_i exp(-U_i (1/T - 1/T_ref)/R).
    Each alone is rate = rate_i sinh(v_i F/F_ref T_ref/T); v_i is the activation volume times the
    reference stress over k T_ref.
    """

    name: ClassVar[str] = "two-process"
    title: ClassVar[str] = "steady creep by two thermally activated processes"
    formula: ClassVar[str] = "f = sum over 1, 2 of (T/T_ref/v) arsinh(rate / rate_i(T))"
    source: ClassVar[str] = "Wilding & Ward, Polymer 22 (1981) 870; from memory"
    parameters: ClassVar[tuple[Parameter, ...]] = (
        STRAIN0,
        Parameter("primary", "", 0.0, 1.0, "primary creep strain at the reference load"),
        TAU,
        Parameter("ln_rate1", "ln 1/s", -120.0, 20.0, "first process: rate at small load"),
        Parameter("volume1", "", 0.05, 200.0, "first process: activation volume v"),
        Parameter("ln_rate2", "ln 1/s", -120.0, 20.0, "second process: rate at small load"),
        Parameter("volume2", "", 0.05, 200.0, "second process: activation volume v"),
        Parameter("energy1", "J/mol", 0.0, 500e3, "first process: activation energy"),
        Parameter("energy2", "J/mol", 0.0, 500e3, "second process: activation energy"),
    )

    def needed(self, temperatures: int) -> int:
        """As many steady rates as they have parameters."""
        return 4 if temperatures < 2 else 6

    def held(self, loads: int, temperatures: int) -> dict[str, float]:
        """Energies need two temperatures."""
        return {"energy1": 0.0, "energy2": 0.0} if temperatures < 2 else {}

    def steady_rate(self, values: Values, points: CreepPoints) -> FloatArray:
        """Steady creep rate in 1/s, by Newton's method in ln rate at each different condition.

        The load carried is convex and rising in ln rate, so steps from above never overshoot.
        """
        pairs = np.stack([points.load_ratio, points.temperature_ratio, points.inverse_RT], axis=1)
        unique, back = np.unique(pairs, axis=0, return_inverse=True)
        f, ratio, inverse = unique.T
        ln1 = values["ln_rate1"] - values["energy1"] * inverse
        ln2 = values["ln_rate2"] - values["energy2"] * inverse
        v1, v2 = values["volume1"] / ratio, values["volume2"] / ratio
        # Each process alone is at least as fast as both: the slower bounds the rate from above.
        x = np.minimum(ln1 + _ln_sinh(v1 * f), ln2 + _ln_sinh(v2 * f))
        for _ in range(60):
            carried = _arsinh_exp(x - ln1) / v1 + _arsinh_exp(x - ln2) / v2
            slope = 1 / (v1 * np.hypot(1, np.exp(np.minimum(ln1 - x, 300.0))))
            slope = slope + 1 / (v2 * np.hypot(1, np.exp(np.minimum(ln2 - x, 300.0))))
            step = (carried - f) / slope
            x = x - step
            if float(np.max(np.abs(step))) < 1e-12:
                break
        return np.asarray(np.exp(x)[..., back.ravel()])

    def curve(self, values: Values, points: CreepPoints) -> FloatArray:
        """Instant, primary and steady strain."""
        t = points.time_s
        grown = values["primary"] * -np.expm1(-t / values["tau"])
        steady = self.steady_rate(values, points) * t
        return np.asarray((values["strain0"] + grown) * points.load_ratio + steady)

    def rate(self, values: Values, points: CreepPoints) -> FloatArray:
        """Primary rate that dies away, and the steady rate."""
        tau = values["tau"]
        primary = values["primary"] / tau * np.exp(-points.time_s / tau) * points.load_ratio
        return np.asarray(primary + self.steady_rate(values, points))

    def guess(self, points: CreepPoints, strain: FloatArray) -> dict[str, float]:
        """Burgers' primary creep; rates from a straight line of ln late slope against load."""
        start = Burgers().guess(points, strain)
        f, slopes, inverse = _late_slopes(points, strain)
        design = np.stack([np.ones_like(f), f, -inverse], axis=1)
        line = np.linalg.lstsq(design, np.log(slopes), rcond=None)[0]
        volume = float(np.clip(line[1], 0.5, 100.0))
        energy = float(np.clip(line[2], 0.0, 300e3))
        middle = float(np.mean(np.log(slopes) + energy * inverse))
        return {
            "strain0": start["strain0"],
            "primary": min(start["primary"], 0.5),
            "tau": start["tau"],
            "ln_rate1": middle,
            "volume1": volume,
            "ln_rate2": float(np.clip(middle - 2.0 * volume * f.mean(), -115.0, 15.0)),
            "volume2": 3.0 * volume,
            "energy1": energy,
            "energy2": energy,
        }

    def to_working(self, values: Values, reference_time_s: float) -> dict[str, FloatArray]:
        """Take logs of tau and volumes."""
        out = super().to_working(values, reference_time_s)
        return {**out, **{k: np.log(out[k]) for k in ("tau", "volume1", "volume2")}}

    def from_working(self, working: Values, reference_time_s: float) -> dict[str, FloatArray]:
        """Back to tau and volumes."""
        out = super().from_working(working, reference_time_s)
        return {**out, **{k: np.exp(out[k]) for k in ("tau", "volume1", "volume2")}}


CREEP_MODELS: tuple[CreepModel, ...] = (Findley(), Logarithmic(), Burgers(), TwoProcess())


def _ln_sinh(x: FloatArray) -> FloatArray:
    return np.asarray(x + np.log(-np.expm1(-2 * x)) - np.log(2.0))


def _arsinh_exp(x: FloatArray) -> FloatArray:
    """arsinh(exp(x)) without overflow."""
    big = np.minimum(x, 300.0)
    return np.asarray(np.where(x > 300.0, x + np.log(2.0), np.arcsinh(np.exp(big))))


def _late_slopes(
    points: CreepPoints, strain: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    pairs = np.stack([points.load_ratio, points.inverse_RT], axis=1)
    unique, back = np.unique(pairs, axis=0, return_inverse=True)
    slopes = []
    for k in range(len(unique)):
        rows = back.ravel() == k
        t, e = points.time_s[rows], strain[rows]
        late = t >= 0.3 * t.max()
        late = late if late.sum() >= 3 else np.ones_like(late)
        slope = float(np.polyfit(t[late], e[late], 1)[0]) if len(t) > 1 else 0.0
        slopes.append(max(slope, 1e-3 * float(np.ptp(e)) / float(t.max()) + 1e-30))
    return unique[:, 0], np.array(slopes), unique[:, 1]
