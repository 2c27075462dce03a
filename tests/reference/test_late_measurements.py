"""A measurement that arrives out of order, and the wrong ways to treat it.

The golden case of ``test_kalman_textbook`` with its fourth measurement arriving after the fifth.
The figures of the wrong ways are by an independent filter; that putting it back gives the in-order
estimate exactly is what Y. Bar-Shalom, IEEE Trans. Aerospace and Electronic Systems 38(3), 769-778,
2002 (algorithm from memory) shows without replaying.
"""

from collections.abc import Callable

import numpy as np
import pytest

from posefuse.fusion.compiled_filter import filter_compiled
from posefuse.fusion.estimate import Estimate, Outcome
from posefuse.fusion.filter_input import FilterInput
from posefuse.fusion.reference_filter import filter_reference
from posefuse.fusion.settings import FilterSettings, LateFrames
from textbook_runs import ConstantVelocity

FILTERS = pytest.mark.parametrize("run_filter", [filter_compiled, filter_reference])
Filter = Callable[[FilterInput], Estimate]

VALUES = np.array([1.1, 1.9, 3.2, 3.9, 5.3])
TRACK = ConstantVelocity(
    kicks=tuple((0.5 + side * 0.5 / np.sqrt(3.0), 0.05) for side in (1.0, -1.0))
)
EACH = TRACK.rows_a_step
LATE_BY_A_STEP = np.array([0, EACH, 2 * EACH, 4 * EACH + 1, 4 * EACH])
"""Arrival rows: the fourth measurement comes one row after the fifth, without any motion."""


def run_of(late_frames: LateFrames, *, drop_older_than_s: float = 0.5) -> FilterInput:
    return TRACK.run(
        steps=4,
        start=np.zeros(2),
        start_cov=np.diag([10.0, 4.0]),
        values=VALUES,
        variance=0.25,
        arrived_row=LATE_BY_A_STEP,
        rows_after=1,
        settings=FilterSettings(
            gate_probability=None,
            late_frames=late_frames,
            history_s=100.0,
            drop_older_than_s=drop_older_than_s,
        ),
    )


@FILTERS
def test_put_back_it_gives_the_in_order_estimate(run_filter: Filter) -> None:
    estimate = run_filter(run_of(LateFrames.REINSERT))
    states, covs = TRACK.track(estimate)
    np.testing.assert_allclose(states[-1], [5.183178876, 1.092928865], atol=2e-8)
    expected = [[0.172410077, 0.090327027], [0.090327027, 0.138017558]]
    np.testing.assert_allclose(covs[-1], expected, atol=2e-8)
    # and its row before, as it stood then, knows nothing of it
    np.testing.assert_allclose(states[-2], [5.288001796, 1.088469128], atol=2e-8)


@FILTERS
def test_dropped_it_is_missing(run_filter: Filter) -> None:
    estimate = run_filter(run_of(LateFrames.DROP))
    states, covs = TRACK.track(estimate)
    np.testing.assert_allclose(states[-1], [5.288001796, 1.088469128], atol=2e-8)
    np.testing.assert_allclose(np.diag(covs[-1]), [0.218595124, 0.138101158], atol=2e-8)
    assert estimate.innovations.outcome.tolist() == [0, 0, 0, Outcome.TOO_LATE, 0]
    assert np.isnan(estimate.innovations.nis[3])


@FILTERS
def test_taken_as_current_it_pulls_back(run_filter: Filter) -> None:
    states, _ = TRACK.track(run_filter(run_of(LateFrames.AS_CURRENT)))
    np.testing.assert_allclose(states[-1], [4.640512291, 0.826736349], atol=2e-8)


@FILTERS
def test_a_young_late_one_is_taken_as_current_when_old_ones_are_dropped(run_filter: Filter) -> None:
    states, _ = TRACK.track(run_filter(run_of(LateFrames.DROP, drop_older_than_s=50.0)))
    np.testing.assert_allclose(states[-1], [4.640512291, 0.826736349], atol=2e-8)
