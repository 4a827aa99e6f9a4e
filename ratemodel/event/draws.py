"""A use case sampled into an event: joint rows from one stream."""

from __future__ import annotations

import numpy as np

from ratemodel.arrays import FloatArray
from ratemodel.errors import InputError
from ratemodel.event.checks import columns
from ratemodel.event.linear import fall, snatch
from ratemodel.event.result import Event
from ratemodel.records.tables import Use

_NEEDED = {
    "fall": ("mass", "fall", "line_length", "stiffness"),
    "snatch": ("mass", "closing_speed", "line_length", "stiffness"),
    "steady": ("load",),
    "rate": ("strain_rate",),
}


def sample_quantities(use: Use, draws: int, rng: np.random.Generator) -> dict[str, FloatArray]:
    """Joint draws of all quantities of a use case, each of shape ``(draws,)``.

    Scrambled Sobol points (Owen 1998), rows shuffled so that they may be paired with joint draws
    of a fit without any order in common.
    """
    from scipy.stats import qmc

    if draws < 1:
        raise InputError(f"{draws} draws", "at least 1 draw")
    names = sorted(use.quantities)
    if not names:
        return {}
    power = int(np.ceil(np.log2(max(draws, 2))))
    points = qmc.Sobol(len(names), scramble=True, rng=rng).random_base2(power)[:draws]
    points = np.clip(rng.permutation(points, axis=0), 1e-12, 1 - 1e-12)
    return {name: use.quantities[name].from_uniform(points[:, i]) for i, name in enumerate(names)}


def event_draws(use: Use, draws: int, rng: np.random.Generator) -> Event:
    """Event of a use case, its distributions sampled jointly.

    Parameters
    ----------
    use : Use
        ``kind`` chooses the event.
    draws : int
        Number of joint rows.
    rng : numpy.random.Generator
        The only source of randomness.

    Returns
    -------
    Event
        With ``inputs`` holding the sampled quantities. Kind ``"rate"`` has no demand
        (``peak_force_N`` is None), kind ``"steady"`` has its load as demand and no rate.

    Raises
    ------
    InputError
        A quantity that the kind needs is missing, or a draw is impossible.
    """
    missing = [n for n in _NEEDED[use.kind] if n not in use.quantities]
    if missing:
        raise InputError(
            f"use {use.name!r} of kind {use.kind} lacks {', '.join(missing)}",
            f"all of {', '.join(_NEEDED[use.kind])}",
            column=f"use.{use.name}.{missing[0]}",
        )
    q = sample_quantities(use, draws, rng)
    event = _dispatch(use, q)
    return Event(**{**event.__dict__, "inputs": q})


def _dispatch(use: Use, q: dict[str, FloatArray]) -> Event:
    if use.kind == "rate":
        rate = columns({"strain_rate": q["strain_rate"]})["strain_rate"]
        return Event("rate", strain_rate_per_s=rate)
    if use.kind == "steady":
        v = columns({n: q[n] for n in ("load", "duration") if n in q})
        return Event("steady", peak_force_N=v["load"], duration_s=v.get("duration"))
    if use.kind == "fall":
        return fall(q["mass"], q["fall"], q["line_length"], q["stiffness"])
    gravity = bool(use.options.get("gravity", False))
    return snatch(q["mass"], q["closing_speed"], q["line_length"], q["stiffness"], gravity=gravity)
