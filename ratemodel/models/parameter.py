"""What a model says about one of its parameters."""

from __future__ import annotations

from dataclasses import dataclass
from math import inf


@dataclass(frozen=True)
class Parameter:
    """Name, unit and admissible range of one model parameter.

    Attributes
    ----------
    name : str
        Name as printed in results.
    unit : str
        Unit, ``""`` for a pure number.
    lower, upper : float
        Admissible range.
    description : str
        What it means, in the trade's words.
    """

    name: str
    unit: str = ""
    lower: float = -inf
    upper: float = inf
    description: str = ""
