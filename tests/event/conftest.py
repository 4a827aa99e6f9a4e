"""One shock by scipy's DOP853 at tight tolerance: the independent answer to compare with."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from scipy.optimize import brentq, minimize_scalar

TIGHT = {"rtol": 1e-11, "atol": 1e-13, "method": "DOP853"}


@dataclass
class Answer:
    force: float
    extension: float
    time: float
    speed: float  # mean speed of stretching between half and full peak force


def _integrate(
    law: Callable[[float], float],
    mass: float,
    speed: float,
    drive: float,
    viscosity: float = 0.0,
    start: float = 0.0,
) -> Answer:
    def force(x: float, v: float) -> float:
        return law(x) + viscosity * v

    def at_rest(t: float, y: np.ndarray) -> float:
        return y[1]

    at_rest.terminal, at_rest.direction = True, -1
    run = solve_ivp(
        lambda t, y: [y[1], (drive - force(*y)) / mass],
        (0, 100),
        [start, speed],
        events=[at_rest],
        dense_output=True,
        **TIGHT,
    )
    times = np.linspace(0, run.t[-1], 2001)
    forces = np.array([force(*run.sol(t)) for t in times])
    i = int(forces.argmax())
    peak_time = times[i]
    if 0 < i < times.size - 1:
        bounds = (times[i - 1], times[i + 1])
        peak_time = minimize_scalar(
            lambda t: -force(*run.sol(t)), bounds=bounds, options={"xatol": 1e-11}
        ).x
    peak = force(*run.sol(peak_time))
    j = int(np.argmax(forces >= peak / 2))
    half = brentq(lambda t: force(*run.sol(t)) - peak / 2, times[j - 1], times[j]) if j else 0.0
    top = run.sol(peak_time)[0]
    rate = (top - run.sol(half)[0]) / (peak_time - half) if peak_time > half else speed
    return Answer(peak, top, peak_time, rate)


def _integrate_slip(
    law: Callable[[float], float],
    mover: tuple[float, float, float],
    viscosity: float,
    slip: tuple[float, float],
) -> tuple[float, float, float]:
    """Peak force, its time and the run-out used, each stage an integration of its own."""
    mass, speed, drive = mover
    limit, longest = slip

    def run(rhs: Callable, y: list[float], events: list[Callable]) -> tuple[float, np.ndarray, int]:
        for event in events:
            event.terminal = True
        out = solve_ivp(rhs, (0, 100), y, events=events, max_step=0.05, **TIGHT)
        which = next(i for i, e in enumerate(out.t_events) if e.size)
        return out.t[-1], out.y[:, -1], which

    def stretch(t: float, y: np.ndarray) -> list[float]:
        return [y[1], (drive - law(y[0]) - viscosity * y[1]) / mass]

    t1, y = 0.0, np.array([0.0, speed])
    if viscosity * speed < limit:
        t1, y, _ = run(stretch, list(y), [lambda t, y: law(y[0]) + viscosity * y[1] - limit])

    def slide(t: float, y: np.ndarray) -> list[float]:
        relax = (limit - law(y[0])) / viscosity
        return [relax, (drive - limit) / mass, y[1] - relax]

    def stuck(t: float, y: np.ndarray) -> float:
        return y[1] - (limit - law(y[0])) / viscosity

    stuck.direction = -1  # slipping begins at zero speed: only its end counts
    t2, y, which = run(
        slide,
        [y[0], y[1], 0.0],
        [stuck, lambda t, y: y[2] - longest],
    )
    if which == 0:
        return limit, t1, y[2]
    jump = law(y[0]) + viscosity * y[1]

    def growth(t: float, z: np.ndarray) -> float:
        e = 1e-6 * z[0]
        slope = (law(z[0] + e) - law(z[0] - e)) / (2 * e)
        return slope * z[1] + viscosity * stretch(t, z)[1]

    if growth(0.0, y[:2]) <= 0:
        return jump, t1 + t2, longest
    t3, y, _ = run(stretch, [y[0], y[1]], [growth])
    return law(y[0]) + viscosity * y[1], t1 + t2 + t3, longest


@pytest.fixture
def integrate() -> Callable[..., Answer]:
    return _integrate


@pytest.fixture
def integrate_slip() -> Callable[..., tuple[float, float, float]]:
    return _integrate_slip
