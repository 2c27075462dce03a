"""Kept kernels, in copies of the package with two small kernels: a leaf and one that calls it."""

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from posefuse.caching.folder import hold
from posefuse.caching.source import PACKAGE

ROOT = PACKAGE.parent
ARENA = ROOT / "fieldlayouts" / "orchard_court.toml"
_LEAF = """
from posefuse.compiling import inlined_kernel, kernel

SHARE = 0.5

@inlined_kernel
def part(x):
    return x / 4.0

@kernel
def third_of(values):
    return values[2]
"""
_CALLER = """
from posefuse.compiling import kernel
from posefuse.leaf import SHARE, part

@kernel
def both(x):
    return SHARE * x + part(x)
"""
_THREE = """
from typing import NamedTuple

class Three(NamedTuple):
    x: float
    y: float
    z: float
"""
_USE = """
from posefuse.caller import both
from posefuse.compiling import is_cached

was = is_cached(both)
print(both({x!r}), was, len(both.stats.cache_hits), is_cached(both))
"""


@pytest.fixture
def copy(tmp_path: Path) -> Path:
    package = tmp_path / "copy" / "posefuse"
    shutil.copytree(PACKAGE, package, ignore=shutil.ignore_patterns("__pycache__"))
    (package / "leaf.py").write_text(_LEAF, encoding="utf-8")
    (package / "caller.py").write_text(_CALLER, encoding="utf-8")
    return package


def environment(package: Path, cache: Path, **more: str) -> dict[str, str]:
    given = {"PYTHONPATH": str(package.parent), "NUMBA_CACHE_DIR": str(cache)}
    return {**os.environ, **given, **more}


def run(package: Path, cache: Path, code: str, *arguments: object, **more: str):
    return subprocess.run(
        [sys.executable, "-c", code, *map(str, arguments)],
        env=environment(package, cache, **more),
        cwd=package.parent,
        capture_output=True,
        encoding="utf-8",
        check=True,
    )


def used(package: Path, cache: Path, x: float = 8.0, **more: str) -> list[str]:
    """The kernel's value; whether it was kept before, was loaded, is kept now."""
    done = run(package, cache, _USE.format(x=x), **more)
    assert done.stderr == ""
    return done.stdout.split()


def replace(path: Path, old: str, new: str) -> None:
    text = path.read_text(encoding="utf-8")
    assert old in text
    path.write_text(text.replace(old, new), encoding="utf-8")


def test_a_kernel_follows_a_change_in_another_file(copy: Path, tmp_path: Path) -> None:
    cache = tmp_path / "cache"
    assert used(copy, cache) == ["6.0", "False", "0", "True"]
    assert used(copy, cache) == ["6.0", "True", "1", "True"]
    replace(copy / "leaf.py", "x / 4.0", "x / 2.0")
    assert used(copy, cache) == ["8.0", "False", "0", "True"]
    replace(copy / "leaf.py", "SHARE = 0.5", "SHARE = 1.5")
    assert used(copy, cache) == ["16.0", "False", "0", "True"]
    replace(copy / "leaf.py", "SHARE = 1.5", "SHARE = 0.5")
    assert used(copy, cache) == ["8.0", "True", "1", "True"]
    replace(copy / "report" / "wording.py", '"""', '"""Changed: ')
    assert used(copy, cache) == ["8.0", "True", "1", "True"]
    assert list(copy.rglob("*.nb?")) == []


def test_processes_side_by_side_keep_every_form(copy: Path, tmp_path: Path) -> None:
    cache = tmp_path / "cache"
    values = (8.0, 8, True, 8j)
    code = f"from posefuse.caller import both\nprint(*(both(x) for x in {values!r}))"
    for options in ([], ["-B"]):  # all at once, then all that they kept
        runs = [
            subprocess.Popen(
                [sys.executable, *options, "-c", f"{code}\nprint(len(both.stats.cache_hits))"],
                env=environment(copy, cache),
                cwd=copy.parent,
                stdout=subprocess.PIPE,
                encoding="utf-8",
            )
            for _ in range(3)
        ]
        shown = [process.communicate()[0].splitlines() for process in runs]
        assert {lines[0] for lines in shown} == {"6.0 6.0 0.75 6j"}
    assert [lines[1] for lines in shown] == ["4", "4", "4"]
    assert len(list(cache.rglob("caller.both-*.kernel"))) == 4
    assert list(cache.rglob("*.part")) == []


def test_nothing_is_kept_once_the_source_has_changed(copy: Path, tmp_path: Path) -> None:
    cache = tmp_path / "cache"
    change = f"""
from pathlib import Path
import posefuse.leaf
path = Path({str(copy / "caller.py")!r})
path.write_text(path.read_text().replace("SHARE * x", "7.0 * x"))
"""
    done = run(copy, cache, change + _USE.format(x=8.0))
    assert done.stdout.split() == ["58.0", "False", "0", "False"]
    assert used(copy, cache) == ["58.0", "False", "0", "True"]


def test_a_damaged_file_is_compiled_again(copy: Path, tmp_path: Path) -> None:
    cache = tmp_path / "cache"
    used(copy, cache)
    (file,) = cache.rglob("caller.both-*.kernel")
    whole = file.read_bytes()
    for damaged in (b"", whole[:-9] + b"\0" * 9):
        file.write_bytes(damaged)
        assert used(copy, cache) == ["6.0", "True", "0", "True"]
    assert used(copy, cache) == ["6.0", "True", "1", "True"]


def test_code_without_checks_of_bounds_is_not_used_with_them(copy: Path, tmp_path: Path) -> None:
    code = """
import numpy as np
from posefuse.leaf import third_of
try:
    third_of(np.zeros(2))
    print("unchecked")
except IndexError:
    print("checked")
"""
    cache = tmp_path / "cache"
    for setting, expected in (("0", "unchecked"), ("1", "checked"), ("0", "unchecked")):
        assert run(copy, cache, code, NUMBA_BOUNDSCHECK=setting).stdout.strip() == expected
    assert len(list(cache.glob("posefuse/kernels/*"))) == 2


def test_old_states_are_removed_but_for_those_in_use(copy: Path, tmp_path: Path) -> None:
    cache = tmp_path / "cache"
    kernels = cache / "posefuse" / "kernels"
    marks = {name: hold(kernels / name) for name in "abcdefghi"}
    for at_s, name in enumerate("abcdefghi"):
        os.utime(kernels / name / "in_use", (at_s, at_s))
        if name != "b":
            marks[name].close()
    used(copy, cache)
    assert {path.name for path in kernels.iterdir() if len(path.name) == 1} == set("befghi")
    marks["b"].close()


def test_an_unwritable_place_gives_way_to_a_temporary_one(copy: Path, tmp_path: Path) -> None:
    (tmp_path / "file").write_bytes(b"")
    given = {name: str(tmp_path) for name in ("TMPDIR", "TEMP", "TMP")}
    for was_kept, hits in (("False", "0"), ("True", "1")):
        done = run(copy, tmp_path / "file", _USE.format(x=8.0), **given)
        assert done.stdout.split() == ["6.0", was_kept, hits, "True"]
        (note,) = done.stderr.splitlines()
        assert note.startswith("posefuse: compiled code is kept in ")
        assert str(tmp_path / "file") in note


@pytest.mark.skipif(sys.platform == "win32", reason="Windows has no such permissions")
def test_without_any_place_kernels_are_compiled_each_time(copy: Path, tmp_path: Path) -> None:
    (tmp_path / "file").write_bytes(b"")
    (tmp_path / f"posefuse-{os.getuid()}").mkdir()
    (tmp_path / f"posefuse-{os.getuid()}").chmod(0o777)
    run_cli = "from posefuse.cli.main import run; run()"
    done = run(copy, tmp_path / "file", run_cli, "check", ARENA, TMPDIR=str(tmp_path))
    assert "12 tags" in done.stdout
    done = run(copy, tmp_path / "file", _USE.format(x=8.0), TMPDIR=str(tmp_path))
    assert done.stdout.split() == ["6.0", "False", "0", "False"]
    assert "cannot be kept" in done.stderr
    assert len(done.stderr.splitlines()) == 1


@pytest.mark.parametrize(("room", "kept"), [("report", "False"), ("recording", "True")])
def test_code_for_types_that_the_digest_leaves_out_is_not_kept(
    room: str, kept: str, copy: Path, tmp_path: Path
) -> None:
    (copy / room / "threes.py").write_text(_THREE, encoding="utf-8")
    code = f"""
from posefuse.compiling import is_cached
from posefuse.leaf import third_of
from posefuse.{room}.threes import Three
print(third_of(Three(1.0, 2.0, 3.0)), is_cached(third_of))
"""
    assert run(copy, tmp_path / "cache", code).stdout.split() == ["3.0", kept]


def test_a_kernel_outside_the_package_is_not_kept(copy: Path, tmp_path: Path) -> None:
    (copy.parent / "outside.py").write_text(_LEAF, encoding="utf-8")
    code = """
from outside import part
from posefuse.compiling import is_cached
print(part(8.0), is_cached(part))
"""
    assert run(copy, tmp_path / "cache", code).stdout.split() == ["2.0", "False"]


def test_functions_that_are_not_compiled_work_too(copy: Path, tmp_path: Path) -> None:
    code = """
from posefuse.caller import both
from posefuse.compiling import is_cached
print(both(8.0), is_cached(both))
"""
    done = run(copy, tmp_path / "cache", code, NUMBA_DISABLE_JIT="1")
    assert done.stdout.split() == ["6.0", "False"]
