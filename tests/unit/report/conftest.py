"""One small comparison, run once."""

import pytest

from posefuse.study.compare import compare
from posefuse.study.comparison import Comparison
from small_court import small_study


@pytest.fixture(scope="session")
def comparison() -> Comparison:
    return compare(small_study(), workers=1)
