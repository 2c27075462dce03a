"""One small comparison, run once."""

import pytest

from posefuse.study.compare import compare
from posefuse.study.comparison import Comparison
from small_court import SHOOTER, armed, small_study


@pytest.fixture(scope="session")
def comparison() -> Comparison:
    return compare(small_study(), workers=1)


@pytest.fixture(scope="session")
def armed_comparison() -> Comparison:
    """The same of robots with a shooter."""
    return compare(armed(small_study(), SHOOTER, SHOOTER), workers=1)
