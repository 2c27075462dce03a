"""Schemas over TOML files: what is taken, and how each fault is reported."""

import pickle
from enum import StrEnum
from pathlib import Path
from typing import Literal

import pytest
from pydantic import Field

from posefuse.errors import FileError, InputError
from posefuse.files.toml_file import FileModel, all_faults_of, in_file, load_toml


class Kind(StrEnum):
    A = "a"
    B = "b"


class Part(FileModel):
    id: int = Field(ge=0)
    edge_m: float = Field(gt=0.0, le=2.0)
    facing_deg: float = 0.0


class Thing(FileModel):
    name: str = Field(min_length=1)
    height_m: float
    corners_m: tuple[tuple[float, float], ...] = ()
    position_m: tuple[float, float, float] = (0.0, 0.0, 0.0)
    latency_s: float = 0.0
    speed_m_per_s: float = 0.0
    flag: bool = False
    kind: Kind = Kind.A
    mode: Literal["x", "y"] = "x"
    inner: Part | None = None
    part: tuple[Part, ...] = ()


def load(tmp_path: Path, text: str | bytes) -> Thing:
    path = tmp_path / "thing.toml"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return load_toml(path, Thing)


def faults_of(tmp_path: Path, text: str | bytes) -> list[str]:
    with pytest.raises(FileError) as caught:
        load(tmp_path, text)
    found = str(caught.value).replace(f"{tmp_path / 'thing.toml'}", "thing.toml").split("\n")
    assert len(found) == len(caught.value.faults)
    return found


GOOD = 'name = "a"\nheight_m = 1\n'


def test_unit_variants_come_out_in_the_main_unit(tmp_path: Path) -> None:
    thing = load(
        tmp_path,
        'name = "a"\nheight_in = 21\nlatency_ms = 45\ncorners_cm = [[1, 2.5], [3, 4]]\n'
        "position_mm = [1000, 2000, -500]\n[[part]]\nid = 1\nedge_mm = 160\n",
    )
    assert thing.height_m == pytest.approx(21 * 0.0254)
    assert thing.latency_s == pytest.approx(0.045)
    assert thing.corners_m == (pytest.approx((0.01, 0.025)), pytest.approx((0.03, 0.04)))
    assert thing.position_m == pytest.approx((1.0, 2.0, -0.5))
    assert thing.part[0].edge_m == pytest.approx(0.16)


def test_byte_order_mark_and_windows_line_ends(tmp_path: Path) -> None:
    assert load(tmp_path, b'\xef\xbb\xbfname = "a"\r\nheight_m = 2\r\n').height_m == 2.0


def test_texts_become_enum_members(tmp_path: Path) -> None:
    assert load(tmp_path, GOOD + 'kind = "b"\n').kind is Kind.B


def test_models_are_frozen(tmp_path: Path) -> None:
    with pytest.raises(ValueError, match="frozen"):
        load(tmp_path, GOOD).height_m = 3.0  # type: ignore[misc]


HEIGHTS = "height_m, height_cm, height_mm, height_in"


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("facing = 3\n", "thing.toml:3: facing: unknown key; allowed: name, "),
        (
            "flog = true\n",
            "thing.toml:3: flog: unknown key; did you mean 'flag'? (got flog = true)",
        ),
        (
            "[[part]]\nid = 1\nedge_ft = 1\n",
            "thing.toml:5: part.1.edge_ft: unknown key, or a wrong unit; allowed: edge_m, edge_cm, "
            "edge_mm, edge_in (got edge_ft = 1)",
        ),
        (
            "[inner]\nid = 1\nedge_m = 1\nfacing_rad = 1.5\n",
            "thing.toml:6: inner.facing_rad: unknown key, or a wrong unit; allowed: facing_deg "
            "(got facing_rad = 1.5)",
        ),
        (
            "latency = 1\n",
            "thing.toml:3: latency: unknown key, or a wrong unit; allowed: latency_s, latency_ms "
            "(got latency = 1)",
        ),
        (
            "speed_cm_per_s = 1\n",
            "thing.toml:3: speed_cm_per_s: unknown key, or a wrong unit; allowed: speed_m_per_s "
            "(got speed_cm_per_s = 1)",
        ),
        (
            "height_cm = 3\n",
            "thing.toml:3: height_cm: given more than once (height_m, height_cm): keep one of "
            "them (got height_cm = 3)",
        ),
        (
            "latency_s = 1\nlatency_ms = 3\n",
            "thing.toml:4: latency_ms: given more than once (latency_s, latency_ms): keep one of "
            "them (got latency_ms = 3)",
        ),
        (
            "[[part]]\nid = 1\nedge_m = 1\n\n[[part]]\nid = 2\n",
            "thing.toml:7: part.2.edge_m: missing, and must be given (or edge_cm, edge_mm, "
            "edge_in)",
        ),
        (
            "[[part]]\nid = 1\nedge_m = -1\n",
            "thing.toml:5: part.1.edge_m: must be greater than 0 (got -1)",
        ),
        (
            "[[part]]\nid = 1\nedge_cm = 201\n",
            "thing.toml:5: part.1.edge_cm: must be less than or equal to 2 m (got 201)",
        ),
        (
            "part = [{ id = 1, edge_m = 1 },\n  { id = 2, edge_m = true }]\n",
            "thing.toml:4: part.2.edge_m: must be a number (got true)",
        ),
        ("latency_s = '1'\n", "thing.toml:3: latency_s: must be a number (got '1')"),
        ("latency_ms = '1'\n", "thing.toml:3: latency_ms: must be a number (got '1')"),
        ("latency_s = nan\n", "thing.toml:3: latency_s: must be a finite number (got nan)"),
        ("latency_ms = inf\n", "thing.toml:3: latency_ms: must be a finite number (got inf)"),
        ("latency_s = 1e999\n", "thing.toml:3: latency_s: must be a finite number (got inf)"),
        (
            "latency_s = 1e308\n",
            "thing.toml:3: latency_s: must be less than or equal to 9007199254740992 (got 1e+308)",
        ),
        (
            "latency_ms = -1e19\n",
            "thing.toml:3: latency_ms: must be greater than or equal to -9007199254740992 s "
            "(got -1e+19)",
        ),
        ("latency_s = 2001-01-01\n", "thing.toml:3: latency_s: must be a number (got "),
        (
            "position_m = [1, 2,\n  true]\n",
            "thing.toml:4: position_m.3: must be a number (got true)",
        ),
        ("position_m = [1, 2]\n", "thing.toml:3: position_m: too few values (got 2: [1, 2])"),
        (
            "position_m = [1, 2, 3, 4]\n",
            "thing.toml:3: position_m: must hold at most 3 values (got 4)",
        ),
        ("position_m = 1\n", "thing.toml:3: position_m: must be a list (got 1)"),
        ("flag = 1\n", "thing.toml:3: flag: must be true or false (got 1)"),
        ("kind = 'c'\n", "thing.toml:3: kind: must be one of 'a', 'b' (got 'c')"),
        ("mode = 'z'\n", "thing.toml:3: mode: must be one of 'x', 'y' (got 'z')"),
        ("inner = 3\n", "thing.toml:3: inner: must be a table (got 3)"),
        ("part = 3\n", "thing.toml:3: part: must be a list (got 3)"),
        ("[part]\nid = 1\n", "thing.toml:3: part: must be a list (got {'id': 1})"),
        (
            "[[part]]\nid = 1.5\nedge_m = 1\n",
            "thing.toml:4: part.1.id: must be a whole number (got 1.5)",
        ),
    ],
)
def test_each_fault_names_line_key_value_and_what_is_allowed(
    tmp_path: Path, text: str, message: str
) -> None:
    (fault,) = faults_of(tmp_path, GOOD + text)
    assert fault.startswith(message)
    assert message.endswith((", ", "(got ")) or fault == message


def test_missing_key_at_the_top(tmp_path: Path) -> None:
    assert faults_of(tmp_path, 'name = "a"\n') == [
        "thing.toml: height_m: missing, and must be given (or height_cm, height_mm, height_in)"
    ]


def test_a_misspelt_key_is_not_reported_as_missing_too(tmp_path: Path) -> None:
    assert faults_of(tmp_path, 'name = "a"\nheight_ft = 7\n') == [
        f"thing.toml:2: height_ft: unknown key, or a wrong unit; allowed: {HEIGHTS} "
        "(got height_ft = 7)"
    ]


def test_all_faults_are_reported_in_the_order_of_the_file(tmp_path: Path) -> None:
    found = faults_of(
        tmp_path,
        'name = ""\nheight_m = "tall"\nflagg = true\n[[part]]\nid = -1\nedge_m = 0\n',
    )
    assert [line.split(": ")[0] for line in found] == [
        f"thing.toml:{number}" for number in (1, 2, 3, 5, 6)
    ]


@pytest.mark.parametrize(
    ("content", "message"),
    [
        (b"", "thing.toml: the file is empty"),
        (b"\xef\xbb\xbf \r\n\n", "thing.toml: the file is empty"),
        (b"\x00\x01\x02", "thing.toml: expected text in UTF-8, got a binary file"),
        ('name = "a"'.encode("utf-16"), "thing.toml: saved as UTF-16: save it as UTF-8"),
        (
            b'name = "a"\nx = "\xe9"\n',
            "thing.toml:2: not UTF-8 text (got the byte 0xe9): save it as UTF-8",
        ),
        (b"name = \n", "thing.toml:1: not valid TOML: Invalid value (column 8)"),
        (b'name = "a"\n[[part\n', "thing.toml:2: not valid TOML: "),
        (b'name = "a"\nx = [1,\n', "thing.toml:2: not valid TOML: "),
        (b'name = "a"\nname = "b"\n', "thing.toml:2: not valid TOML: Cannot overwrite a value "),
        (b"x = " + b"[" * 20000, "thing.toml: lists or tables nested too deeply"),
        (b"x = " + b"9" * 5000, "thing.toml: not valid TOML: "),
    ],
)
def test_what_is_no_toml_at_all(tmp_path: Path, content: bytes, message: str) -> None:
    (fault,) = faults_of(tmp_path, content)
    assert fault.startswith(message)


def test_a_number_too_large_for_a_float(tmp_path: Path) -> None:
    for key in ("latency_s", "latency_ms"):
        (fault,) = faults_of(tmp_path, GOOD + f"{key} = 1{'0' * 400}\n")
        assert fault.startswith(f"thing.toml:3: {key}: must be a")
        assert len(fault) < 150


def test_missing_file_and_folder(tmp_path: Path) -> None:
    with pytest.raises(FileError, match=r"nope\.toml: no such file$"):
        load_toml(tmp_path / "nope.toml", Thing)
    with pytest.raises(FileError, match="expected a file, got a folder"):
        load_toml(tmp_path, Thing)


def test_in_file_adds_the_place(tmp_path: Path) -> None:
    path = tmp_path / "thing.toml"
    path.write_text(GOOD + "[[part]]\nid = 1\n[[part]]\nid = 2\nedge_cm = 5\n", encoding="utf-8")
    with pytest.raises(FileError) as caught, in_file(path, key=("part", 1, "edge_m")):
        raise InputError("too short")
    assert str(caught.value) == f"{path}:7: part.2.edge_cm: too short"
    with pytest.raises(FileError) as caught, in_file(path):
        raise InputError("no good")
    assert str(caught.value) == f"{path}: no good"


def test_faults_are_collected_and_reported_once(tmp_path: Path) -> None:
    path = tmp_path / "thing.toml"
    path.write_text(GOOD, encoding="utf-8")
    other = FileError("other.toml", "bad")
    with pytest.raises(FileError) as caught, all_faults_of(path) as faults:  # noqa: PT012
        faults.add("first", "name")
        for _ in range(2):
            with faults.at("height_m"):
                raise other
        faults.stop_if_any()
    assert str(caught.value).split("\n") == [f"{path}:1: name: first", "other.toml: bad"]


def test_an_input_error_outside_any_place_is_the_whole_files(tmp_path: Path) -> None:
    path = tmp_path / "thing.toml"
    path.write_text(GOOD, encoding="utf-8")
    with pytest.raises(FileError) as caught, all_faults_of(path) as faults:  # noqa: PT012
        faults.add("first", "name")
        raise InputError("second")
    assert str(caught.value).split("\n") == [f"{path}:1: name: first", f"{path}: second"]


def test_file_errors_travel_between_processes() -> None:
    error = FileError("a.toml", "bad", line=3, key="x", others=[FileError("b.toml", "worse")])
    back = pickle.loads(pickle.dumps(error))
    assert str(back) == str(error) == "a.toml:3: x: bad\nb.toml: worse"
    assert [str(fault) for fault in back.faults] == ["a.toml:3: x: bad", "b.toml: worse"]
