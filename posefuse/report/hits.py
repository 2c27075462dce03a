"""What a comparison means for the shots, in sentences."""

from posefuse.report.wording import number_text
from posefuse.study.comparison import Comparison

__all__ = ["perfect_sentence"]


def perfect_sentence(comparison: Comparison) -> str:
    """What a perfect estimate would score; empty where no hits are known."""
    perfect = [row.hits.perfect_per_100 for row in comparison.ranking if row.hits is not None]
    if not perfect:
        return ""
    low, high = number_text(min(perfect), 1), number_text(max(perfect), 1)
    told = low if low == high else f"{low} to {high} (by the plan)"
    return (
        "Hits are expected ones, by each shot's own error and the shooter's spread; a perfect "
        f"estimate would score {told} per 100."
    )
