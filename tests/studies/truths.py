"""True curves of the coverage study: mean of ln S over log10 of the strain rate (1/s).

Each curve is given relative to the fastest tested speed (0), so that what lies beyond is known.
Ours to choose; they are meant to differ in shape, not to favour any model.
"""

import numpy as np

from ratemodel.models.rate import heat_retained as h

TRUTHS = {
    "flat": lambda x: 0.0 * x,
    "falling -2.5 %/decade": lambda x: -0.025 * x,
    "rising +3 %/decade": lambda x: 0.03 * x,
    "step -12 % inside": lambda x: -0.12 * h(x + 1.5),
    "step -12 % a decade later": lambda x: -0.12 * h(x - 1.0),
    "step -15 % at the edge": lambda x: -0.15 * h(x - 0.3),
    "+2 %/decade, step -15 % inside": lambda x: 0.02 * x - 0.15 * h(x + 1.0),
    "+2 %/decade, step -15 % at the edge": lambda x: 0.02 * x - 0.15 * h(x - 0.5),
    "+4 %/decade, step -20 %": lambda x: 0.04 * x - 0.20 * h(x),
    "rising +4 %, level beyond": lambda x: 0.04 * np.minimum(x, 0.0),
    "rising +5 %, level inside": lambda x: 0.05 * np.minimum(x + 1.0, 0.0),
    "level, then falling -4 %": lambda x: -0.04 * np.maximum(x, 0.0),
    "curving down": lambda x: -0.02 * x - 0.005 * x * x,
    "thermally activated": lambda x: np.log(np.log1p(np.exp(25.0 + 2.302585 * x))),
}
