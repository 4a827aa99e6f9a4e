"""What to test next: speeds, machines and numbers of specimens, and what they are worth."""

from ratemodel.planning.bridge import Bridge
from ratemodel.planning.campaign import Choice, plan_request
from ratemodel.planning.lab import Machine, PlanRequest, Question
from ratemodel.planning.plan import DesignRow, Effort, HoursCurve, Plan, plan_tests
from ratemodel.planning.sample_size import (
    SampleSize,
    power_of_difference,
    specimens_for_difference,
    specimens_for_lower_bound,
    specimens_for_success_run,
)
from ratemodel.planning.sheet import SheetRow, TestSheet
from ratemodel.planning.spool_size import power_of_spool_effect, specimens_for_spool_effect
from ratemodel.planning.suggest import NextTest, expected_ratio, next_test
from ratemodel.planning.value import TestValue, ValueCheck, check_value, value_of_test
from ratemodel.planning.worth import TestWorth, one_more_test_of, worth_of_tests

__all__ = [
    "Bridge",
    "Choice",
    "DesignRow",
    "Effort",
    "HoursCurve",
    "Machine",
    "NextTest",
    "Plan",
    "PlanRequest",
    "Question",
    "SampleSize",
    "SheetRow",
    "TestSheet",
    "TestValue",
    "TestWorth",
    "ValueCheck",
    "check_value",
    "expected_ratio",
    "next_test",
    "one_more_test_of",
    "plan_request",
    "plan_tests",
    "power_of_difference",
    "power_of_spool_effect",
    "specimens_for_difference",
    "specimens_for_lower_bound",
    "specimens_for_spool_effect",
    "specimens_for_success_run",
    "value_of_test",
    "worth_of_tests",
]
