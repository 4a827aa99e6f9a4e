"""Is one product really stronger: two series, a series against its rating, many series at once."""

from ratemodel.comparing.claims import Claim, Verdict, parse_claim, verdict
from ratemodel.comparing.label import RatingSupport, supports_rating
from ratemodel.comparing.many import Ranking, compare_many, shrink
from ratemodel.comparing.pair import Comparison, ComparisonSettings, RatePoint, compare

__all__ = [
    "Claim",
    "Comparison",
    "ComparisonSettings",
    "Ranking",
    "RatePoint",
    "RatingSupport",
    "Verdict",
    "compare",
    "compare_many",
    "parse_claim",
    "shrink",
    "supports_rating",
    "verdict",
]
