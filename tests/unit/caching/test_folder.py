"""The folder of the user's cache: where it is, who holds it, what of it is removed."""

import os
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path
from threading import Thread

import pytest

from posefuse.caching.folder import hold, remove_old, temporary_folder, user_folder

posix_only = pytest.mark.skipif(sys.platform == "win32", reason="Windows has other locks")
_HOLDER = """
import sys
from pathlib import Path
from posefuse.caching.folder import hold
mark = hold(Path(sys.argv[1]))
print("held", flush=True)
sys.stdin.read()
"""


def used(folder: Path, at_s: float) -> Path:
    hold(folder).close()
    (folder / "code").write_bytes(b"code")
    os.utime(folder / "in_use", (at_s, at_s))
    return folder


@pytest.mark.parametrize(
    ("platform", "environment", "expected"),
    [
        ("linux", {"XDG_CACHE_HOME": ""}, "home/.cache/posefuse"),
        ("linux", {"XDG_CACHE_HOME": "relative"}, "home/.cache/posefuse"),
        ("linux", {"XDG_CACHE_HOME": "{root}/mine"}, "mine/posefuse"),
        ("darwin", {"XDG_CACHE_HOME": "{root}/mine"}, "home/Library/Caches/posefuse"),
        ("win32", {"LOCALAPPDATA": "{root}/mine"}, "mine/posefuse/Cache"),
        ("win32", {"LOCALAPPDATA": ""}, "home/AppData/Local/posefuse/Cache"),
    ],
)
def test_each_system_has_its_place(
    platform: str,
    environment: dict[str, str],
    expected: str,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(sys, "platform", platform)
    monkeypatch.setattr(Path, "home", lambda: tmp_path / "home")
    for name, value in environment.items():
        monkeypatch.setenv(name, value.format(root=tmp_path))
    assert user_folder() == tmp_path / expected


def test_all_but_those_used_last_are_removed(tmp_path: Path) -> None:
    for at_s, name in enumerate("abcd"):
        used(tmp_path / name, at_s)
    remove_old(tmp_path, keep=2)
    assert {path.name for path in tmp_path.iterdir()} == {"c", "d"}
    assert (tmp_path / "d" / "code").read_bytes() == b"code"


def test_to_hold_a_folder_is_to_use_it(tmp_path: Path) -> None:
    for name, at_s in (("a", 1.0), ("b", 2.0)):
        used(tmp_path / name, at_s)
    hold(tmp_path / "a").close()
    remove_old(tmp_path, keep=1)
    assert [path.name for path in tmp_path.iterdir()] == ["a"]


def test_what_another_process_holds_is_removed_only_after_its_end(tmp_path: Path) -> None:
    used(tmp_path / "old", 1.0)
    with subprocess.Popen(
        [sys.executable, "-c", _HOLDER, str(tmp_path / "old")],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
    ) as holder:
        assert holder.stdout is not None
        assert holder.stdout.readline().strip() == b"held"
        remove_old(tmp_path, keep=0)
        assert (tmp_path / "old" / "code").is_file()
        holder.communicate()
    remove_old(tmp_path, keep=0)
    assert list(tmp_path.iterdir()) == []


def test_a_folder_is_held_by_many_at_once(tmp_path: Path) -> None:
    with hold(tmp_path / "one"), hold(tmp_path / "one"):
        remove_old(tmp_path, keep=0)
        assert (tmp_path / "one").is_dir()


def test_a_removal_that_was_cut_short_is_finished(tmp_path: Path) -> None:
    used(tmp_path / "old", 1.0).rename(tmp_path / "old.removed")
    remove_old(tmp_path, keep=5)
    assert list(tmp_path.iterdir()) == []


def test_other_folders_are_left_alone(tmp_path: Path) -> None:
    (tmp_path / "other").mkdir()
    remove_old(tmp_path, keep=0)
    assert (tmp_path / "other").is_dir()


@posix_only
def test_a_folder_that_is_being_removed_is_made_anew(tmp_path: Path) -> None:
    import fcntl

    folder = used(tmp_path / "old", 1.0)
    remover = (folder / "in_use").open("ab")
    fcntl.flock(remover, fcntl.LOCK_EX)
    marks = []
    thread = Thread(target=lambda: marks.append(hold(folder)))
    thread.start()
    shutil.rmtree(folder)
    remover.close()
    thread.join()
    assert not (folder / "code").exists()
    assert os.path.samestat(os.fstat(marks[0].fileno()), (folder / "in_use").stat())
    marks[0].close()


def test_a_place_that_cannot_be_written_is_an_error_of_the_system(tmp_path: Path) -> None:
    (tmp_path / "file").write_bytes(b"")
    with pytest.raises(OSError, match="file"):
        hold(tmp_path / "file" / "kernels")


@posix_only
def test_the_temporary_folder_is_the_users_alone(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
    folder = temporary_folder()
    assert folder.parent == tmp_path
    assert folder.stat().st_mode & 0o777 == 0o700
    assert temporary_folder() == folder
    folder.chmod(0o777)
    with pytest.raises(PermissionError, match="by others"):
        temporary_folder()
    folder.rmdir()
    folder.symlink_to(tmp_path)
    with pytest.raises(PermissionError, match="by others"):
        temporary_folder()
