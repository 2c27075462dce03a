"""The error between the shots: over every row of the courses."""

import math
from collections.abc import Sequence

import numpy as np

from posefuse.study.comparison import PlanTrials

__all__ = ["whole_course_rms_m"]


def whole_course_rms_m(plan_trials: Sequence[PlanTrials]) -> float:
    """RMS of one plan's distance error over all rows of its courses at which the truth is known.

    The distance is that to the study's goal all the way; nan where no truth is known.
    """
    spans = [card.whole_course for trials in plan_trials for card in trials.cards]
    known = [(span.scored_count, span.distance_m.rms) for span in spans if span.distance_m]
    if not known:
        return math.nan
    counts, rms_m = np.array(known).T
    return float(np.sqrt(np.average(rms_m**2, weights=counts)))
