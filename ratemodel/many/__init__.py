"""Thousands of series at once: a catalogue of products and treatments, on any executor."""

from ratemodel.many.fit import ManyRun, fit_many
from ratemodel.many.result import ManyFailure, ManyResult
from ratemodel.many.work import stream

__all__ = ["ManyFailure", "ManyResult", "ManyRun", "fit_many", "stream"]
