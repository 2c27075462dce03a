"""Numbers that no arena, robot or course has are refused by line, before they fill the memory."""

import re
import shutil
from pathlib import Path

import pytest

import posefuse as pf
from posefuse.errors import FileError

ROOT = Path(__file__).parents[2]
FIRST_NUMBER = r"(= \[?)-?[\d.]+"


@pytest.mark.parametrize(
    ("file", "key", "value", "shown"),
    [
        ("courses/easy.toml", "position_m", "1e308", "less than or equal to 1000 "),
        ("courses/easy.toml", "position_m", "-1e5", "greater than or equal to -1000 "),
        ("courses/fast_spins.toml", "pause_s", "1e9", "less than or equal to 36000 "),
        ("courses/easy.toml", "duration_s", "1e9", "less than or equal to 36000 "),
        ("courses/easy.toml", "speed_m_per_s", "1e-9", "greater than or equal to 0.01 "),
        ("robot.toml", "length_m", "9e15", "less than or equal to 100 "),
        ("robot.toml", "rate_hz", "1e6", "less than or equal to 10000 "),
        ("robot.toml", "release_m", "1e6", "less than or equal to 10 "),
        ("robot.toml", "slip_per_m_per_s2", "1e308", f"less than or equal to {2**53} "),
        ("cameras/wide_mono_edges.toml", "frame_rate_hz", "1e6", "less than or equal to 10000 "),
        (
            "cameras/wide_mono_edges.toml",
            "distortion",
            "1e308",
            f"less than or equal to {2**53} ",
        ),
    ],
)
def test_a_number_beyond_reason_is_refused_by_line(
    file: str, key: str, value: str, shown: str, tmp_path: Path
) -> None:
    for folder in ("datasets", "fieldlayouts"):
        shutil.copytree(ROOT / folder, tmp_path / folder)
    changed = tmp_path / "datasets" / "orchard" / file
    text = changed.read_text(encoding="utf-8")
    line = text[: re.search(rf"^{key} = ", text, flags=re.MULTILINE).start()].count("\n") + 1
    text = re.sub(rf"^{key} {FIRST_NUMBER}", rf"{key} \g<1>{value}", text, count=1, flags=re.M)
    changed.write_text(text, encoding="utf-8")
    with pytest.raises(
        FileError, match=rf"{changed.name}:{line}: .*must be {shown}\(got"
    ) as caught:
        pf.load_study(tmp_path / "datasets" / "orchard" / "study.toml")
    assert str(caught.value).count(changed.name) == str(caught.value).count("\n") + 1
