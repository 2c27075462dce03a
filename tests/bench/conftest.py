"""Benchmarks report ratios: each measures the plain way beside posefuse's, in one run."""

from collections.abc import Callable

import pytest


@pytest.fixture
def report_ratio(tell: Callable[[str], None]) -> Callable[[str, float, float], None]:
    """Call with what was compared, seconds of the plain way, seconds of posefuse's."""

    def report(what: str, plain_s: float, ours_s: float) -> None:
        ratio = plain_s / ours_s
        tell(
            f"{what}: {plain_s * 1e3:,.0f} ms / {ours_s * 1e3:.2f} ms = {ratio:,.1f} times as fast"
        )

    return report
