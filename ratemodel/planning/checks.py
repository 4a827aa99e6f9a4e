"""What stands beside a plan: machines too weak, machines kept apart, questions out of reach."""

from __future__ import annotations

import numpy as np

from ratemodel.arrays import BoolArray, IntArray
from ratemodel.errors import InputError, Problem
from ratemodel.inference.scatter import specimen_cdf
from ratemodel.planning.bridge import Bridge
from ratemodel.planning.cells import Cell
from ratemodel.planning.knowledge import Knowledge
from ratemodel.planning.lab import PlanRequest
from ratemodel.planning.preposterior import Outlook

#: The force limit must exceed an expected strength by this fraction.
FORCE_MARGIN = 0.15


def strong_enough(request: PlanRequest, cells: tuple[Cell, ...], knowledge: Knowledge,
                  view: Outlook) -> tuple[BoolArray, list[Problem]]:  # fmt: skip
    """Cells whose machine breaks 95 % of the specimens; a note where that cannot be said.

    ``view`` is the outlook made from ``knowledge``.
    """
    limit = np.array([c.machine.force_limit_N for c in cells])
    product = request.product
    in_newtons = product is None or product.strength_unit.dimension == "force"
    if not np.isfinite(limit).any() or not in_newtons:
        return np.ones(limit.size, dtype=np.bool_), []
    if request.known is not None:
        tau = np.concatenate([p.batch_sd for p in knowledge.parts])
        offset = np.log(limit)[None] - view.cell_mean
        own = np.diagonal(view.cell_cov, axis1=1, axis2=2)
        below = specimen_cdf(offset, np.sqrt(view.sigma**2 + own), tau[:, None], knowledge.scatter)
        allowed = view.weight @ below >= 0.95
    elif request.strength_N is not None:
        allowed = limit >= request.strength_N * (1 + FORCE_MARGIN)
    else:
        return np.ones(limit.size, dtype=np.bool_), [Problem(
            "force-not-checked",
            "nothing is known of the strength, so the machines' force limits could not be checked; "
            "give expected_strength",
        )]  # fmt: skip
    weak = sorted({c.machine.name for c, ok in zip(cells, allowed, strict=True) if not ok})
    if not allowed.any():
        raise InputError(f"no machine is strong enough ({', '.join(weak)})",
                         "a machine whose force limit lies above the strength")  # fmt: skip
    if not weak:
        return np.asarray(allowed), []
    return np.asarray(allowed), [Problem(
        "machine-too-weak",
        f"{', '.join(weak)}: more than 5 % of the specimens would not break at some or all of its "
        "speeds, which the plan leaves out",
        "note",
    )]  # fmt: skip


def bridge_findings(groups: list[tuple[str, ...]], bridge: Bridge | None) -> list[Problem]:
    """Machines that stay apart under the plan, and the way out."""
    if len(groups) < 2:
        return []
    parts = " | ".join(", ".join(name or "(no name)" for name in g) for g in groups)
    if bridge is not None:
        a, b = bridge.machines
        way = (
            f"bridge tests ({bridge.specimens[0]} on {a} and {bridge.specimens[1]} on {b} near "
            f"{bridge.strain_rates_per_s[0]:.2g} /s) would tell them apart but widen this answer "
            f"by {100 * (bridge.width_with / bridge.width_without - 1):.0f} %: an extra"
        )
    else:
        way = (
            "no speed within the budget is common to both: check both against one load cell, or "
            "pull shorter specimens on the slower machine, which raises its strain rate"
        )
    return [Problem("machine-and-rate-confounded",
                    f"no speed is run on both sides of {parts}, so part of a rate effect may be "
                    f"the machines; {way}")]  # fmt: skip


def reach_findings(view: Outlook, allowed: BoolArray) -> list[Problem]:
    """A question beyond what the machines reach."""
    u = view.u[allowed]
    beyond = max(max(e - float(u.max()), float(u.min()) - e, 0.0) for e in view.ends)
    if beyond < 0.05:
        return []
    return [Problem(
        "question-beyond-the-machines",
        f"the rate asked about lies {beyond:.1f} decades beyond what the machines reach: part of "
        "the interval comes from the models and no number of tests removes it",
        "serious" if beyond > 1.5 else "caution",
    )]  # fmt: skip


def gain_findings(ratio: float | None) -> list[Problem]:
    """Tests that hardly narrow the answer."""
    if ratio is None or ratio < 0.9:
        return []
    return [Problem(
        "little-to-gain",
        f"these tests leave {100 * ratio:.0f} % of the present interval: what remains is mostly "
        "the machines' calibration and what the models cannot know; check the machines against "
        "one load cell before spending specimens",
        "note",
    )]  # fmt: skip


def expected_strength(request: PlanRequest, view: Outlook, chosen: IntArray) -> float | None:
    """Expected strength (N) for preloads: from the tests, or as given."""
    product = request.product
    if request.known is None or product is None or product.strength_unit.dimension != "force":
        return request.strength_N
    mean = view.weight @ view.cell_mean
    # The weakest of the cells used, so that no preload comes nearer to the break than meant.
    return float(np.exp(mean[chosen > 0].min()))
