"""One small comparison and one replay, made once."""

import pytest

from posefuse.study.compare import compare
from posefuse.study.comparison import Comparison
from posefuse.study.findings import Findings, findings_of
from posefuse.study.replay import Replay, replay
from small_court import SHOOTER, armed, small_study, stored_drive


@pytest.fixture(scope="session")
def comparison() -> Comparison:
    return compare(small_study(), workers=1)


@pytest.fixture(scope="session")
def armed_comparison() -> Comparison:
    """The same of robots with a shooter."""
    return compare(armed(small_study(), SHOOTER, SHOOTER), workers=1)


@pytest.fixture(scope="session")
def findings(comparison: Comparison) -> Findings:
    return findings_of(comparison, workers=1)


@pytest.fixture(scope="session")
def armed_findings(armed_comparison: Comparison) -> Findings:
    return findings_of(armed_comparison, workers=1)


@pytest.fixture(scope="session")
def armed_replay() -> Replay:
    """A drive of a robot with a shooter."""
    return replay(stored_drive(armed(small_study(), SHOOTER, SHOOTER), goal=None))
