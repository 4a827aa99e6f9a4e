"""What to test next, with which speeds and how many specimens."""

from ratemodel.planning.suggest import NextTest, expected_ratio, next_test

__all__ = ["NextTest", "expected_ratio", "next_test"]
