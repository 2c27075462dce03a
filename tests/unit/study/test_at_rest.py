"""A study at rest: nothing is measured, and nothing is wrong."""

import numpy as np
import pytest

from posefuse.study.at_rest import compare_at_rest
from posefuse.study.findings import findings_of
from posefuse.study.study import Study
from small_court import SHOOTER, armed, small_study


@pytest.mark.parametrize("study", [small_study(), armed(small_study(), SHOOTER, None)])
def test_a_study_at_rest_has_no_errors_and_findings(study: Study) -> None:
    comparison = compare_at_rest(study)
    (trials,) = comparison.plan_trials
    plan = study.plans[0]
    assert (trials.plan, trials.course) == (plan.name, study.courses[0].name)
    assert len(trials.first.frames.sensor) == 0
    assert np.ptp(trials.first.truth.poses, axis=0).tolist() == [0.0, 0.0, 0.0]
    assert [row.distance_rms_m.value for row in comparison.ranking] == pytest.approx([0.0])
    assert (trials.cards[0].hits is not None) == (plan.rig.body.shooter is not None)
    assert findings_of(comparison).shown_plans == (plan.name,)
