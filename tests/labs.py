"""Labs and requests for the tests of the planning room."""

from functools import cache

import numpy as np

from ratemodel.inference.average import Settings, fit_rate
from ratemodel.inference.priors import Prior, RatePriors, default_priors
from ratemodel.planning import Machine, PlanRequest, Question
from ratemodel.planning.knowledge import at_rates
from ratemodel.records.tables import Distribution, Series, Specimens
from ratemodel.simulate import Design, FibreAndHeat, Truth, simulate_series

FRAME = Machine("frame", 1e-3 / 60, 0.5 / 60, setup_s=900)
RAM = Machine("ram", 0.3, 0.3, setup_s=1200)
SERVO = Machine("servo", 0.005, 0.5, setup_s=1200)


def request(*machines, rate=2.0, **more):
    more.setdefault("hours", 8.0)
    return PlanRequest(machines or (FRAME, RAM), Question("mean", rate), **more)


def product(**kwargs):
    """A product of which nothing has been tested."""
    one = at_rates(Series("cord", None, None), 1.0, 1.0).used
    empty = Specimens(**{k: v[:0] for k, v in vars(one).items() if k != "extra"})
    return Series("cord", empty, empty, **kwargs)


def one_law(**fixed) -> RatePriors:
    """Hardly any prior knowledge of slope and curvature, and nothing else that bends a design."""
    table = dict(default_priors(at_rates(product(), 0.1, 10.0)).parameters)
    table |= {
        "slope": Prior("slope", Distribution("normal", 0.0, 1.0), "", "test"),
        "curvature": Prior("curvature", Distribution("normal", 0.0, 1.0), "", "test"),
        "growth": Prior("growth", Distribution("fixed", 0.0), "", "test"),
        "discrepancy": Prior("discrepancy", Distribution("fixed", 0.0), "", "test"),
    }
    return RatePriors(table | fixed)


@cache
def fitted(design=None, *, machine_sd=0.01, draws=4000):
    """A fit of simulated tests, made once for all tests that ask for the same."""
    rng = np.random.default_rng(1)
    design = design or Design((-3.0, -0.22), 5, machines=("frame", "ram"))
    truth = Truth(FibreAndHeat(place=-2.0), machine_sd=machine_sd)
    return fit_rate(simulate_series(truth, design, rng), rng=rng,
                    settings=Settings(draws=draws, points=256))  # fmt: skip
