"""Whether enough draws lie beyond a quantile for it to mean something."""

from __future__ import annotations

import numpy as np

from ratemodel.errors import Problem

#: Draws beyond a quantile below which it is rough, and below which it is hardly known: the
#: relative error of the probability is one over the root of their number.
ROUGH, HARDLY = 50, 10


def thin_tail(draws: int, tail: float, what: str) -> tuple[Problem, ...]:
    """Finding on a quantile with probability ``tail`` beyond it, taken from ``draws`` draws.

    Examples
    --------
    >>> thin_tail(20_000, 0.05, "the 95/95 bound")
    ()
    >>> thin_tail(2000, 0.001, "the 95/99.9 bound")[0].severity
    'serious'
    """
    beyond = draws * tail
    if beyond >= ROUGH:
        return ()
    wanted = int(np.ceil(round(ROUGH / tail, 6) / 1000)) * 1000
    return (
        Problem(
            "few-draws-in-tail",
            f"{what} rests on the outermost {beyond:.0f} of {draws} draws; ask for {wanted} draws",
            "serious" if beyond < HARDLY else "caution",
        ),
    )
