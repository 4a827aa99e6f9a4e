"""Strength of cord, webbing and slings against the rate of loading, with honest intervals.

A first chart::

    import numpy as np
    import ratemodel as rm

    campaign = rm.read_campaign(rm.demo_folder())
    fit = rm.fit_rate(campaign.series["tether-3mm"], rng=np.random.default_rng(1))
    rm.charts.strength_against_rate(fit)

Names load what they need on first use, so that importing the package costs nothing.
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any

__version__ = "0.1.0"

_DOOR: dict[str, str] = {
    "read_campaign": "ratemodel.records.campaign",
    "demo_folder": "ratemodel.demo",
    "Settings": "ratemodel.inference.average",
    "fit_rate": "ratemodel.inference.average",
    "best_fit": "ratemodel.inference.bestfit",
    "fit_many": "ratemodel.many",
    "translate": "ratemodel.translation",
    "explain": "ratemodel.steps",
    "working_load_limits": "ratemodel.limits",
    "failure_probability": "ratemodel.limits",
    "analyse": "ratemodel.analysis",
    "next_test": "ratemodel.planning",
    "errors": "",
    "models": "",
    "charts": "",
    "report": "",
}
__all__ = [
    "Settings",
    "__version__",
    "analyse",
    "best_fit",
    "charts",
    "demo_folder",
    "errors",
    "explain",
    "failure_probability",
    "fit_many",
    "fit_rate",
    "models",
    "next_test",
    "read_campaign",
    "report",
    "translate",
    "working_load_limits",
]

if TYPE_CHECKING:
    from ratemodel import charts, errors, models, report
    from ratemodel.analysis import analyse
    from ratemodel.demo import demo_folder
    from ratemodel.inference.average import Settings, fit_rate
    from ratemodel.inference.bestfit import best_fit
    from ratemodel.limits import failure_probability, working_load_limits
    from ratemodel.many import fit_many
    from ratemodel.planning import next_test
    from ratemodel.records.campaign import read_campaign
    from ratemodel.steps import explain
    from ratemodel.translation import translate


def __getattr__(name: str) -> Any:
    """Load a public name on first use."""
    if name not in _DOOR:
        raise AttributeError(f"module 'ratemodel' has no attribute {name!r}")
    home = _DOOR[name]
    if home == "":
        return importlib.import_module(f"ratemodel.{name}")
    value = getattr(importlib.import_module(home), name)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    return sorted(__all__)
