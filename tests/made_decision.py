"""A decision made by hand, every figure unlike the others."""

import math

from posefuse.build_errors.catalogue import build_error
from posefuse.statistics.intervals import Interval
from posefuse.study.budget import KNOWN, NOISE, ErrorBudget, ErrorPart
from posefuse.study.decision import Cost, Decision, HitsVerdict
from posefuse.study.retuning import KeyChange, Retuning


def interval(value: float, low: float = math.nan, high: float = math.nan) -> Interval:
    return Interval(value=value, low=low, high=high)


MOUNT = ErrorPart(
    label="mount angle",
    square_share=0.36,
    error=build_error("mount_angle_rad"),
    each_std=math.radians(0.5),
)
TAG = ErrorPart(
    label="tag position", square_share=0.25, error=build_error("tag_position_m"), each_std=0.005
)
BUDGET = ErrorBudget(
    rms_m=0.01,
    parts=(
        MOUNT,
        TAG,
        ErrorPart(label=KNOWN, square_share=0.21),
        ErrorPart(label=NOISE, square_share=0.14),
        ErrorPart(label="lean", square_share=0.04, error=build_error("lean_rad"), each_std=0.01),
    ),
)
RETUNING = Retuning(
    changes=(
        KeyChange(key="position_floor_m", old_noise=0.02, new_noise=0.13),
        KeyChange(key="heading_floor_deg", old_noise=0.5, new_noise=3.3),
    ),
    trials=10,
    nees_before=interval(12.0, 9.0, 17.0),
    nees_after=interval(3.1, 2.2, 5.2),
    distance_rms_before_m=0.0133,
    distance_rms_after_m=0.0185,
)
DECISION = Decision(
    plan="four",
    cameras=4,
    plan_count=3,
    trials=30,
    distance_rms_m=interval(0.0111, 0.0101, 0.0122),
    ties=("five",),
    hits=HitsVerdict.APART,
    hits_range_per_100=(91.04, 96.66),
    most_accurate=None,
    cheaper=Cost(
        plan="two",
        cameras=2,
        distance_m=interval(0.027, 0.021, 0.034),
        lost_hits_per_100=interval(5.62, 4.04, 7.0),
    ),
    budget=BUDGET,
    nees=interval(12.0, 10.1, 15.3),
    knows_build=False,
    belief_changes=(),
    retuning=RETUNING,
)
