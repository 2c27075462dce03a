"""The process that compiles ahead: it leaves what the trials call, and nothing else."""

import importlib.util
import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from posefuse.cli import compile_ahead
from posefuse.compiling import is_cached
from posefuse.study.study import Study
from small_court import SHOOTER, armed, small_study

ROOT = Path(__file__).parents[2]
STUDY = ROOT / "datasets" / "orchard" / "study.toml"
_KERNEL = "from posefuse.compiling import kernel\n\n@kernel\ndef half(x):\n    return 0.5 * x\n"
_TYPES_MISSED = """
import sys
from pathlib import Path
import posefuse as pf
from posefuse.aim.compiled.hit_probability import hit_shares
from posefuse.cli.compile_ahead import report_of_a_rest
from posefuse.fusion.compiled.filter import run_filter
from posefuse.fusion.compiled.bound import bound_run

study = pf.load_study(sys.argv[1])
report_of_a_rest(study, Path(sys.argv[2]))
compiled = {kernel: set(kernel.signatures) for kernel in (run_filter, bound_run, hit_shares)}
pf.compare(study, trials=1)
for kernel, types in compiled.items():
    print(kernel.__name__, len(types) > 0, len(set(kernel.signatures) - types))
"""


def _half_from(path: Path) -> Callable[[float], float]:
    spec = importlib.util.spec_from_file_location("halved", path)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module.half  # type: ignore[no-any-return]


def test_a_kernel_is_cached_from_its_first_call_until_its_source_changes(tmp_path: Path) -> None:
    source = tmp_path / "halved.py"
    source.write_text(_KERNEL, encoding="utf-8")
    half = _half_from(source)
    assert not is_cached(half)
    assert half(3.0) == 1.5
    assert is_cached(half)
    later = source.stat().st_mtime + 60.0
    os.utime(source, (later, later))
    assert not is_cached(half)


def test_the_trials_find_what_was_compiled_ahead(tmp_path: Path) -> None:
    done = subprocess.run(
        [sys.executable, "-c", _TYPES_MISSED, str(STUDY), str(tmp_path)],
        capture_output=True,
        encoding="utf-8",
        check=True,
    )
    assert done.stdout.splitlines() == [
        "run_filter True 0",
        "bound_run True 0",
        "hit_shares True 0",
    ]


@pytest.mark.parametrize("study", [small_study(), armed(small_study(), SHOOTER, None)])
def test_a_study_is_reported_at_rest(study: Study, tmp_path: Path) -> None:
    compile_ahead.report_of_a_rest(study, tmp_path)
    assert (tmp_path / "report.html").is_file()


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
