"""The digest of a package's source, and what it leaves out."""

import os
from pathlib import Path

import pytest

from posefuse.caching.source import (
    PACKAGE,
    holds_kernels,
    names_what_is_left_out,
    source_state,
)

LEFT_OUT = ("cli", "plots", "report")


@pytest.fixture
def package(tmp_path: Path) -> Path:
    names = ("one.py", "room/two.py", "room/compiled/three.py", "cli/words.py", "room/page.html")
    for name in names:
        path = tmp_path / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(f"# {name}", encoding="utf-8")
    return tmp_path


@pytest.mark.parametrize("name", ["one.py", "room/two.py", "room/compiled/three.py"])
def test_a_changed_file_changes_the_digest_and_its_old_text_restores_it(
    package: Path, name: str
) -> None:
    before, text = source_state(package), (package / name).read_text(encoding="utf-8")
    assert before.is_current()
    (package / name).write_text(f"{text} changed", encoding="utf-8")
    assert not before.is_current()
    assert source_state(package).digest != before.digest
    (package / name).write_text(text, encoding="utf-8")
    assert source_state(package).digest == before.digest


def test_a_new_a_renamed_and_a_removed_file_change_the_digest(package: Path) -> None:
    digests = {source_state(package).digest}
    (package / "four.py").write_text("", encoding="utf-8")
    digests.add(source_state(package).digest)
    (package / "four.py").rename(package / "five.py")
    digests.add(source_state(package).digest)
    (package / "one.py").unlink()
    digests.add(source_state(package).digest)
    assert len(digests) == 4


def test_a_time_alone_changes_no_digest(package: Path) -> None:
    before = source_state(package)
    os.utime(package / "one.py", (1.0, 1.0))
    assert source_state(package).digest == before.digest
    assert not before.is_current()  # to be on the safe side, without reading every file again


@pytest.mark.parametrize("name", ["cli/words.py", "room/page.html", "room/__pycache__/two.py"])
def test_what_no_kernel_hangs_on_is_left_out(package: Path, name: str) -> None:
    before = source_state(package)
    (package / name).parent.mkdir(exist_ok=True)
    (package / name).write_text("changed", encoding="utf-8")
    assert before.is_current()
    assert source_state(package).digest == before.digest


def test_kernels_stand_only_where_the_digest_sees_them(package: Path) -> None:
    assert holds_kernels(package / "room" / "compiled" / "three.py", package)
    assert not holds_kernels(package / "cli" / "words.py", package)
    assert not holds_kernels(package / "missing.py", package)
    assert not holds_kernels(package.parent / "outside.py", package)


def test_the_rooms_left_out_hold_no_kernels_and_the_others_are_covered() -> None:
    names = {name for name, _, _ in source_state(PACKAGE).stamps}
    whole = {path.relative_to(PACKAGE).as_posix() for path in PACKAGE.rglob("*.py")}
    assert {name.split("/")[0] for name in whole - names} == set(LEFT_OUT)
    kernels = [name for name in whole if "/compiled/" in name]
    assert len(kernels) > 20
    assert set(kernels) <= names


@pytest.mark.parametrize("room", LEFT_OUT)
def test_code_for_types_of_a_room_left_out_is_recognised(room: str) -> None:
    assert names_what_is_left_out(b"..\x8c\x10posefuse." + room.encode() + b".tables..")
    assert not names_what_is_left_out(b"..\x8c\x10posefuse.sensing.arrays..")
