"""Strength of cord, webbing and slings against the rate of loading, with honest intervals."""

from __future__ import annotations

__version__ = "0.1.0"
