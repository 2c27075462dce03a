"""Hypothesis profiles (``dev`` short, ``ci`` derandomised, longer) and figures shown at the end."""

import os
from collections.abc import Callable

import pytest
from hypothesis import HealthCheck, settings

settings.register_profile("dev", max_examples=50, deadline=None)
settings.register_profile(
    "ci",
    max_examples=200,
    deadline=None,
    derandomize=True,
    suppress_health_check=[HealthCheck.too_slow],
)
settings.load_profile("ci" if os.environ.get("CI") else "dev")

FIGURES: list[str] = []


@pytest.fixture
def tell() -> Callable[[str], None]:
    """Call with a line that belongs into the README or the design notes: it is shown at the end."""
    return FIGURES.append


def pytest_terminal_summary(terminalreporter) -> None:
    if FIGURES:
        terminalreporter.section("figures")
        for line in FIGURES:
            terminalreporter.write_line(line)
