"""Which constants of the build a run has shown to be off, and in which order they are told."""

import numpy as np
import pytest
from scipy import stats

from posefuse.build_errors.catalogue import build_error
from posefuse.build_errors.constants import Constant
from posefuse.fusion.estimate import BuildEstimate
from posefuse.study.build_findings import build_findings


def estimate_of(values, stds, believed) -> BuildEstimate:
    members = tuple(
        Constant(error=build_error("focal_fraction"), owner=f"camera {k}", axis="")
        for k in range(len(values))
    )
    return BuildEstimate(
        members=members,
        values=np.array(values),
        stds=np.array(stds),
        believed_stds=np.array(believed),
    )


def test_what_is_off_comes_first_then_what_is_farther_than_believed() -> None:
    """Three constants, judged at 5 % over 3: 2.39 standard deviations."""
    assert stats.norm.isf(0.025 / 3.0) == pytest.approx(2.3940, abs=1e-4)
    found = build_findings(estimate_of([0.6, -2.3, 2.5], [0.24, 1.0, 1.0], [0.2, 2.0, 5.0]))
    assert [one.constant.owner for one in found] == ["camera 0", "camera 2", "camera 1"]
    assert [one.is_off for one in found] == [True, True, False]
    assert (found[0].value, found[0].std, found[0].believed_std) == (0.6, 0.24, 0.2)


def test_one_exact_build_in_twenty_is_called_off() -> None:
    """Ninety constants, none off, 2,000 builds: 5 % are called so, give or take 1 %."""
    generator = np.random.default_rng(4)
    wrong = 0
    for _ in range(2000):
        values = generator.normal(size=90)
        wrong += any(
            one.is_off for one in build_findings(estimate_of(values, [1.0] * 90, [2.0] * 90))
        )
    assert wrong / 2000 == pytest.approx(0.05, abs=0.015)
