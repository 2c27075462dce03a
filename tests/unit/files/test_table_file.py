"""CSV tables: exact numbers, and faults reported with line and column."""

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_array_equal

from posefuse.errors import FileError, InputError
from posefuse.files.numbers import LARGEST
from posefuse.files.table_file import read_table, write_table

COLUMNS = ("t_s", "x_m")


def written(tmp_path: Path, text: str | bytes) -> Path:
    path = tmp_path / "a.csv"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return path


@given(
    floats=st.lists(st.floats(-LARGEST, LARGEST), max_size=5),
    number=st.integers(-(2**53), 2**53),
)
def test_written_and_read_again_is_the_same_to_the_bit(
    floats: list[float], number: int, tmp_path_factory: pytest.TempPathFactory
) -> None:
    path = tmp_path_factory.mktemp("t") / "a.csv"
    texts = ["front", 'a "b", c', "naïve"] * 2
    write_table(
        path,
        {
            "x_m": np.array(floats, dtype=np.float64),
            "id": np.full(len(floats), number),
            "camera": texts[: len(floats)],
        },
    )
    back = read_table(path, ["x_m", "id", "camera"], text=["camera"], whole=["id"])
    assert back["x_m"].tobytes() == np.array(floats, dtype=np.float64).tobytes()
    assert back["id"].dtype == np.int64
    assert back["id"].tolist() == [number] * len(floats)
    assert back["camera"].tolist() == texts[: len(floats)]


def test_order_is_free_and_optional_columns_may_lack(tmp_path: Path) -> None:
    path = written(tmp_path, "x_m,t_s\r\n1,2\r\n\r\n3,4")
    table = read_table(path, COLUMNS, optional=["heading_rad"])
    assert_array_equal(table["t_s"], [2.0, 4.0])
    assert_array_equal(table["x_m"], [1.0, 3.0])
    assert "heading_rad" not in table


def test_spaces_and_quotes_are_taken(tmp_path: Path) -> None:
    path = written(tmp_path, '\ufeff"t_s", x_m\n "1" , 2\n')
    with pytest.raises(FileError, match=":2: t_s: must be a finite number"):
        read_table(path, COLUMNS)  # a quote must stand at the cell's edge
    path = written(tmp_path, '\ufeff"t_s", x_m\n"1", 2 \n')
    assert read_table(path, COLUMNS)["x_m"].tolist() == [2.0]


def test_no_rows(tmp_path: Path) -> None:
    table = read_table(written(tmp_path, "t_s,x_m\n"), COLUMNS, whole=["t_s"])
    assert table["t_s"].shape == (0,)
    assert table["t_s"].dtype == np.int64


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("t_s,x_mm\n", "a.csv:1: unknown column 'x_mm'; did you mean 'x_m'?\n"),
        ("t_s,x_m,zz\n", "a.csv:1: unknown column 'zz'; the columns are t_s, x_m"),
        ("t_s\n", "a.csv:1: missing column: x_m"),
        ("t_s,x_m,t_s\n", "a.csv:1: the column 't_s' appears twice"),
        (
            "t_s;x_m\n1;2\n",
            "a.csv:1: must name the columns: the columns are t_s, x_m; cells are separated "
            "by commas (got 't_s;x_m')",
        ),
        ("1,2\n3,4\n", "a.csv:1: must name the columns: the columns are t_s, x_m (got '1,2')"),
        ("t_s,x_m\n1,2\n3,nan\n", "a.csv:3: x_m: must be a finite number (got 'nan')"),
        ("t_s,x_m\n1,2\n3,inf\n", "a.csv:3: x_m: must be a finite number (got 'inf')"),
        ("t_s,x_m\n1,2\n3,1e999\n", "a.csv:3: x_m: must be a finite number (got '1e999')"),
        ("t_s,x_m\n1,2\n3,\n", "a.csv:3: x_m: the cell is empty"),
        (
            "t_s,x_m\n1,2\n3,-2e16\n",
            "a.csv:3: x_m: must lie between -9.0072e+15 and 9.0072e+15 (got '-2e16')",
        ),
        ("t_s,x_m\n1,2\n\n3,abc\n", "a.csv:4: x_m: must be a finite number (got 'abc')"),
        ("t_s,x_m\n1,1_0\n", "a.csv:2: x_m: must be a finite number (got '1_0')"),
        ("t_s,x_m\n1,0x10\n", "a.csv:2: x_m: must be a finite number (got '0x10')"),
        ("t_s,x_m\n1,2\n3\n4,5\n", "a.csv:3: must hold 2 cells (got 1)"),
        ("t_s,x_m\n1,2\n3,4,5\n", "a.csv:3: must hold 2 cells (got 3)"),
        ("t_s,x_m\n1,2\n3", "a.csv:3: the last line is cut off: must hold 2 cells (got 1)"),
        ('t_s,x_m\n1,"2\n', "a.csv:2: not valid CSV: unexpected end of data"),
        ("", "a.csv: the file is empty"),
        (b"\x00\x01", "a.csv: expected text in UTF-8, got a binary file"),
        (b"t_s,x_m\n1,\xff\n", "a.csv:2: not UTF-8 text (got the byte 0xff): save it as UTF-8"),
    ],
)
def test_each_fault_names_line_and_column(tmp_path: Path, text: str | bytes, expected: str) -> None:
    path = written(tmp_path, text)
    with pytest.raises(FileError) as caught:
        read_table(path, COLUMNS)
    message = str(caught.value).replace(str(path), "a.csv")
    assert message.startswith(expected) if expected.endswith("\n") else message == expected


def test_texts_and_whole_numbers_are_checked(tmp_path: Path) -> None:
    path = written(tmp_path, "t_s,x_m\n\nfront,2\n ,3\n")
    with pytest.raises(FileError, match=r"a\.csv:4: t_s: the cell is empty"):
        read_table(path, COLUMNS, text=["t_s"])
    path = written(tmp_path, "t_s,x_m\n1,2\n\n1,2.5\n")
    with pytest.raises(FileError, match=r"a\.csv:4: x_m: must be a whole number \(got 2\.5\)"):
        read_table(path, COLUMNS, whole=["x_m"])


def test_what_could_not_be_read_again_is_not_written(tmp_path: Path) -> None:
    path = tmp_path / "a.csv"
    with pytest.raises(InputError, match=r"a\.csv: x_m: row 1 is not finite \(got nan\)"):
        write_table(path, {"t_s": [1, 2], "x_m": [1.0, np.nan]})
    with pytest.raises(InputError, match="columns of different lengths"):
        write_table(path, {"t_s": [1, 2], "x_m": [1.0]})
    assert not path.exists()


def test_truth_values_are_written_as_numbers(tmp_path: Path) -> None:
    path = tmp_path / "a.csv"
    write_table(path, {"t_s": np.array([True, False])})
    assert path.read_bytes() == b"t_s\n1\n0\n"


def test_a_remark_on_the_first_line_is_passed_over_and_lines_keep_their_numbers(
    tmp_path: Path,
) -> None:
    table = read_table(written(tmp_path, "# read once\nt_s,x_m\n1,2\n"), COLUMNS)
    assert_array_equal(table["x_m"], [2.0])
    with pytest.raises(FileError, match=r"a\.csv:4: x_m: must be a finite number"):
        read_table(written(tmp_path, "# read once\nt_s,x_m\n1,2\n3,x\n"), COLUMNS)
    with pytest.raises(FileError, match=r"a\.csv:2: missing column: x_m"):
        read_table(written(tmp_path, "# read once\nt_s\n1\n"), COLUMNS)
    with pytest.raises(FileError, match=r"a\.csv:2: must name the columns"):
        read_table(written(tmp_path, "# nothing else\n"), COLUMNS)
