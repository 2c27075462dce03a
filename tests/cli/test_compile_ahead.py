"""The process that compiles ahead: it leaves what the trials call, and ends with its starter."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

from posefuse.cli import compile_ahead

ROOT = Path(__file__).parents[2]
STUDY = ROOT / "datasets" / "orchard" / "study.toml"
_TYPES_MISSED = """
import os
import sys
from pathlib import Path
import posefuse as pf
from posefuse.aim.compiled.hit_probability import hit_shares
from posefuse.cli.compile_ahead import _compile
from posefuse.fusion.compiled.bound import bound_run
from posefuse.fusion.compiled.filter import run_filter

_compile(Path(sys.argv[1]))
compiled = {kernel: set(kernel.signatures) for kernel in (run_filter, bound_run, hit_shares)}
pf.compare(pf.load_study(sys.argv[1]), trials=1)
for kernel, types in compiled.items():
    print(kernel.__name__, len(types) > 0, len(set(kernel.signatures) - types))
"""
_STARTER = """
import subprocess
import sys
import time
from pathlib import Path
from posefuse.cli import compile_ahead

class Heard(subprocess.Popen):
    def __init__(self, *arguments, **options):
        super().__init__(*arguments, **{**options, "stdout": None})

compile_ahead.subprocess.Popen = Heard
compile_ahead.os.cpu_count = lambda: 2
with compile_ahead.compiling_ahead(Path(sys.argv[1])):
    print("started", flush=True)
    time.sleep(3600.0)
"""


def with_an_empty_cache(folder: Path) -> dict[str, str]:
    return {**os.environ, "NUMBA_CACHE_DIR": str(folder)}


def test_the_trials_find_what_was_compiled_ahead() -> None:
    done = subprocess.run(
        [sys.executable, "-c", _TYPES_MISSED, str(STUDY)],
        capture_output=True,
        encoding="utf-8",
        check=True,
    )
    assert done.stdout.splitlines() == [
        "run_filter True 0",
        "bound_run True 0",
        "hit_shares True 0",
    ]


def test_no_process_is_started_where_all_is_cached(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("posefuse.compiling.is_cached", lambda _: True)
    monkeypatch.setattr(compile_ahead.subprocess, "Popen", None)
    with compile_ahead.compiling_ahead(STUDY):
        pass


def test_the_process_ends_with_the_comparison(monkeypatch: pytest.MonkeyPatch) -> None:
    started = []

    class Watched(subprocess.Popen):  # type: ignore[type-arg]
        def __init__(self, *arguments: object, **options: object) -> None:
            started.append(self)
            super().__init__(*arguments, **options)  # type: ignore[call-overload]

    monkeypatch.setattr("posefuse.compiling.is_cached", lambda _: False)
    monkeypatch.setattr(compile_ahead.os, "cpu_count", lambda: 2)
    monkeypatch.setattr(compile_ahead.subprocess, "Popen", Watched)
    with compile_ahead.compiling_ahead(STUDY):
        assert started[0].poll() is None
    assert started[0].poll() is not None


def test_the_process_notices_that_its_pipe_is_closed(tmp_path: Path) -> None:
    with subprocess.Popen(
        [sys.executable, "-m", "posefuse.cli.compile_ahead", str(STUDY)],
        stdin=subprocess.PIPE,
        stderr=subprocess.PIPE,
        env=with_an_empty_cache(tmp_path),
    ) as helper:
        _, errors = helper.communicate()  # closes its standard input
    assert (helper.returncode, errors) == (compile_ahead.ABANDONED, b"")


def test_the_process_does_not_outlive_a_starter_that_is_killed(tmp_path: Path) -> None:
    with subprocess.Popen(
        [sys.executable, "-c", _STARTER, str(STUDY)],
        stdout=subprocess.PIPE,
        env=with_an_empty_cache(tmp_path),
    ) as starter:
        assert starter.stdout is not None
        assert starter.stdout.readline().strip() == b"started"
        starter.kill()
        starter.stdout.read()  # until nobody holds its other end, so until both have ended
    assert list(tmp_path.rglob("aim.*")) == []  # it was far from done
