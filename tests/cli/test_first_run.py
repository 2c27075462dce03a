"""What is shown before a first run: one line on standard error, once."""

import pytest

from posefuse.cli.first_run import announce_first_run
from posefuse.fusion.compiled.filter import run_filter


@pytest.mark.parametrize(
    ("is_cached", "shown"),
    [(False, "First run: compiling, for up to a minute. Later runs skip that.\n"), (True, "")],
)
def test_only_a_first_run_is_announced(
    is_cached: bool,  # noqa: FBT001
    shown: str,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    monkeypatch.setattr("posefuse.compiling.is_cached", lambda _: is_cached)
    announce_first_run(run_filter)
    out, err = capsys.readouterr()
    assert (out, err) == ("", shown)
