"""The command line as a whole: status, one line for known errors, no traceback, quick help."""

import subprocess
import sys
from importlib import metadata

import pytest

import posefuse.cli.check
from posefuse.cli.main import run


def leave(monkeypatch: pytest.MonkeyPatch, *arguments: str) -> int:
    monkeypatch.setattr(sys, "argv", ["posefuse", *arguments])
    monkeypatch.setattr(posefuse.cli.main.os, "_exit", sys.exit)
    with pytest.raises(SystemExit) as caught:
        run()
    return int(caught.value.code or 0)


def failing_with(monkeypatch: pytest.MonkeyPatch, error: BaseException) -> None:
    def fail(path: object) -> str:
        raise error

    monkeypatch.setattr(posefuse.cli.check, "kind_of", fail)


def test_version(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    assert leave(monkeypatch, "--version") == 0
    assert capsys.readouterr().out == f"posefuse {metadata.version('posefuse')}\n"


def test_help_lists_the_commands(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    assert leave(monkeypatch, "--help") == 0
    shown = capsys.readouterr().out
    assert all(f"\n  {name} " in shown for name in ("check", "compare", "replay", "simulate"))


def test_help_loads_nothing_heavy() -> None:
    script = (
        "import sys; sys.argv = ['posefuse', '--help']\n"
        "from posefuse.cli.main import run\n"
        "try:\n    run()\nexcept SystemExit:\n    pass\n"
        "heavy = {'numpy', 'scipy', 'numba', 'cv2', 'pydantic', 'matplotlib', 'rich', 'filterpy'}\n"
        "sys.exit(', '.join(heavy & set(sys.modules)) or 0)\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", script], capture_output=True, text=True, check=False
    )
    assert (done.returncode, done.stderr) == (0, "")


@pytest.mark.parametrize(
    ("arguments", "shown"),
    [
        (["chek", "a.toml"], "Error: no command 'chek'; did you mean 'check'?\n"),
        (
            ["zzz"],
            "Error: no command 'zzz'; there are: aim, calibrate, check, compare, render, replay, "
            "simulate\n",
        ),
        (["check"], "Error: Missing argument 'FILE...'.\n"),
        (  # click's own words, lately and before
            ["--zzz"],
            ("Error: No such option '--zzz'.\n", "Error: No such option: --zzz\n"),
        ),
    ],
)
def test_wrong_use(
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    arguments: list[str],
    shown: str | tuple[str, ...],
) -> None:
    assert leave(monkeypatch, *arguments) == 2
    assert capsys.readouterr().err.endswith(shown)


@pytest.mark.parametrize(
    ("error", "status", "shown"),
    [
        (KeyboardInterrupt(), 130, "stopped\n"),
        (
            ImportError("libGL.so.1: cannot open shared object file: No such file or directory"),
            2,
            "cv2 cannot load: libGL.so.1 is missing; on Debian/Ubuntu: apt-get install libgl1\n",
        ),
        (
            ImportError("libgthread-2.0.so.0: cannot open shared object file: No such file"),
            2,
            "cv2 cannot load: libgthread-2.0.so.0 is missing; on Debian/Ubuntu: "
            "apt-get install libglib2.0-0\n",
        ),
        (OSError(28, "No space left on device", "out/a.csv"), 2, "out/a.csv: No space left"),
    ],
)
def test_known_errors_are_one_line(
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    error: BaseException,
    status: int,
    shown: str,
) -> None:
    failing_with(monkeypatch, error)
    assert leave(monkeypatch, "check", "a.toml") == status
    said = capsys.readouterr().err.lstrip("\n")
    assert said.startswith(shown)
    assert said.count("\n") == 1


@pytest.mark.parametrize("error", [ImportError("no module named x"), OSError("odd"), KeyError("x")])
def test_faults_of_our_own_keep_their_traceback(
    monkeypatch: pytest.MonkeyPatch, error: Exception
) -> None:
    failing_with(monkeypatch, error)
    monkeypatch.setattr(sys, "argv", ["posefuse", "check", "a.toml"])
    with pytest.raises(type(error)):
        run()
