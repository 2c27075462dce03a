"""Benchmarks report ratios: each measures the plain way beside posefuse's, in one run."""

import pytest

RATIOS: list[str] = []


@pytest.fixture
def report_ratio():
    """Call with what was compared, seconds of the plain way, seconds of posefuse's."""

    def report(what: str, plain_s: float, ours_s: float) -> float:
        ratio = plain_s / ours_s
        RATIOS.append(
            f"{what}: {plain_s * 1e3:,.0f} ms / {ours_s * 1e3:.2f} ms = {ratio:,.0f} times"
        )
        return ratio

    return report


def pytest_terminal_summary(terminalreporter) -> None:
    if RATIOS:
        terminalreporter.section("as fast as the plain way")
        for line in RATIOS:
            terminalreporter.write_line(line)
