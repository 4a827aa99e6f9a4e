"""Time and memory of 100 000 falls against a loop over scipy's integrator, in one run.

Run by hand: ``python tests/bench/bench_event.py``. The loop is timed on 200 falls and scaled.
"""

from __future__ import annotations

import time
import tracemalloc
from collections.abc import Callable

import numpy as np
from scipy.integrate import solve_ivp

from ratemodel.event import STANDARD_GRAVITY_M_PER_S2 as G
from ratemodel.event import Damping, Line, Linear, Mover, PowerLaw, fall, shock

DRAWS, LOOP, LENGTH = 100_000, 200, 8.0


def integrate(law, mass: float, height: float, viscosity: float) -> float:
    """Peak force of one fall; tolerance for about 1e-6."""

    def at_rest(t: float, y: np.ndarray) -> float:
        return y[1]

    at_rest.terminal, at_rest.direction = True, -1

    def rhs(t: float, y: np.ndarray) -> list[float]:
        return [y[1], G - (law(y[0]) + viscosity * y[1]) / mass]

    run = solve_ivp(
        rhs, (0, 60), [0.0, np.sqrt(2 * G * height)], events=[at_rest], rtol=1e-8, atol=1e-10
    )
    return max(law(x) + viscosity * v for x, v in run.y.T)


def cases() -> dict[str, tuple[Callable[[], object], Callable[[int], float]]]:
    """What is timed: all falls at once, and one of them by the integrator."""
    rng = np.random.default_rng(1)
    mass, height = rng.uniform(60, 100, DRAWS), rng.uniform(0.5, 4, DRAWS)
    k, p = rng.uniform(40e3, 80e3, DRAWS), rng.uniform(1.0, 1.8, DRAWS)
    weak = 0.02 * k / LENGTH
    mover = Mover.falling(mass, height)
    linear, curved = Line(Linear(k), LENGTH), Line(PowerLaw(k * 5, p), LENGTH)
    return {
        "linear, closed form": (
            lambda: fall(mass, height, LENGTH, k),
            lambda i: integrate(lambda x: k[i] * x / LENGTH, mass[i], height[i], 0.0),
        ),
        "linear, damped": (
            lambda: shock(linear, mover, damping=Damping(time_s=0.02)),
            lambda i: integrate(lambda x: k[i] * x / LENGTH, mass[i], height[i], weak[i]),
        ),
        "power law": (
            lambda: shock(curved, mover),
            lambda i: integrate(
                lambda x: 5 * k[i] * (max(x, 0.0) / LENGTH) ** p[i], mass[i], height[i], 0.0
            ),
        ),
        "power law, damped": (
            lambda: shock(curved, mover, damping=Damping(time_s=0.02)),
            lambda i: integrate(
                lambda x: 5 * k[i] * (max(x, 0.0) / LENGTH) ** p[i], mass[i], height[i], weak[i]
            ),
        ),
    }


def timed(ours: Callable[[], object], loop: Callable[[int], float]) -> tuple[float, float]:
    """Seconds for all falls at once, and for the loop, scaled to as many."""
    ours()
    start = time.perf_counter()
    ours()
    mine = time.perf_counter() - start
    start = time.perf_counter()
    for i in range(LOOP):
        loop(i)
    return mine, (time.perf_counter() - start) * DRAWS / LOOP


def main() -> None:
    print(f"{DRAWS} falls; loop timed on {LOOP}")
    for name, (ours, loop) in cases().items():
        mine, theirs = timed(ours, loop)
        tracemalloc.start()
        ours()
        memory = tracemalloc.get_traced_memory()[1] / 1e6
        tracemalloc.stop()
        print(
            f"{name:22s} {mine:7.3f} s  loop {theirs:7.1f} s  "
            f"{theirs / mine:8.0f} times  peak memory {memory:5.0f} MB"
        )


if __name__ == "__main__":
    main()
