"""Time of one change of the what-if panel: answer, picture, both.

Run by hand, on a quiet machine: ``python tests/bench/bench_panel.py``. A change is to take less
than 100 ms.
"""

from __future__ import annotations

import time
from collections.abc import Callable

import numpy as np

import ratemodel as rm
from ratemodel.panel import limits_html, number_line, what_if_picture
from ratemodel.what_if import Change, what_if_answer, what_if_basis

RUNS = 15


def median_ms(call: Callable[[int], object]) -> str:
    """Median time of a call, the first left out, and the processor's part of it."""
    took = []
    for i in range(RUNS + 1):
        start = time.perf_counter(), time.process_time()
        call(i)
        took.append((time.perf_counter() - start[0], time.process_time() - start[1]))
    wall, own = 1e3 * np.median(took[1:], axis=0)
    return f"{wall:5.0f} ms (processor {own:.0f})"


def main() -> None:
    campaign = rm.read_campaign(rm.demo_folder())
    for use in campaign.use.values():
        fit = rm.fit_rate(campaign.series[use.series], rng=np.random.default_rng(1))
        basis = what_if_basis(fit, use)
        name = "mass" if "mass" in use.quantities else "load"
        middle = use.quantities[name].median

        def answer(i: int, basis=basis, name=name, middle=middle):
            change = Change({name: middle * (1 + 0.02 * i)}, 1e-4)
            return what_if_answer(basis, change, rng=np.random.default_rng(0))

        def whole(i: int, answer=answer):
            got = answer(i)
            return what_if_picture(got), number_line(got), limits_html(got)

        print(f"{use.name:16s} answer {median_ms(answer)}, with picture {median_ms(whole)}")


if __name__ == "__main__":
    main()
