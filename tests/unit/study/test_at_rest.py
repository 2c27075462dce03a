"""A study at rest: nothing is measured, and nothing is wrong."""

from pathlib import Path

import numpy as np
import pytest

from posefuse.report.comparison import write_comparison_report
from posefuse.study.at_rest import compare_at_rest
from posefuse.study.study import Study
from small_court import SHOOTER, armed, small_study


@pytest.mark.parametrize("study", [small_study(), armed(small_study(), SHOOTER, None)])
def test_a_study_is_compared_and_reported_at_rest(study: Study, tmp_path: Path) -> None:
    comparison = compare_at_rest(study)
    run = comparison.runs[0]
    assert (run.plan, run.course) == (study.plans[0].name, study.courses[0].name)
    assert len(run.first.frames.sensor) == 0
    assert np.ptp(run.first.truth.poses, axis=0).tolist() == [0.0, 0.0, 0.0]
    assert [row.distance_rms_m.value for row in comparison.ranking] == pytest.approx([0.0])
    assert (run.cards[0].hits is not None) == (study.plans[0].rig.body.shooter is not None)
    write_comparison_report(comparison, tmp_path / "report.html")
    assert "<html" in (tmp_path / "report.html").read_text(encoding="utf-8")
