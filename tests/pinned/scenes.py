"""Small jobs with fixed inputs, one for every room that computes: their numbers are pinned."""

from pinned import rates, times, uses  # noqa: F401
from pinned.common import SCENES

__all__ = ["SCENES"]
