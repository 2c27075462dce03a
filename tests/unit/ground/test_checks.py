import numpy as np
import pytest

from posefuse.checks import (
    finite,
    frozen_array,
    frozen_ints,
    in_range,
    increasing,
    not_negative,
    positive,
)
from posefuse.errors import InputError


def test_a_frozen_array_is_a_read_only_copy() -> None:
    mine = np.array([1.0, 2.0])
    kept = frozen_array("x", mine, (2,))
    mine[0] = 9.0
    assert kept.tolist() == [1.0, 2.0]
    with pytest.raises(ValueError, match="read-only"):
        kept[0] = 3.0


def test_a_view_cannot_be_written_through() -> None:
    whole = np.zeros((2, 3))
    kept = frozen_array("x", whole[0], (3,))
    whole[:] = 1.0
    assert kept.tolist() == [0.0, 0.0, 0.0]


def test_a_read_only_array_is_not_copied_again() -> None:
    once = frozen_array("x", [1.0, 2.0], (2,))
    assert frozen_array("x", once, (2,)) is once


@pytest.mark.parametrize(
    ("call", "told"),
    [
        (lambda: frozen_array("x_m", [1.0], (2,)), r"x_m: shape \(1,\) given, \(2,\) wanted"),
        (lambda: frozen_array("x_m", [[1.0]], (None,)), r"x_m: .* \(any,\) wanted"),
        (lambda: frozen_array("x_m", [np.nan], (1,)), "x_m: holds a value that is not finite"),
        (lambda: frozen_ints("n", [[1]], (None,)), "n: shape"),
        (lambda: finite("a", np.inf), "a: must be a finite number"),
        (lambda: positive("a", 0.0), r"a: must be greater than 0 \(got 0\)"),
        (lambda: not_negative("a", -1.0), r"a: must be 0 or more \(got -1\)"),
        (lambda: in_range("a", 3.0, 0.0, 2.0), r"a: must be between 0 and 2 \(got 3\)"),
        (lambda: increasing("t_s", np.array([0.0, 1.0, 1.0])), "t_s: the stamp repeats at row 2"),
        (lambda: increasing("t_s", np.array([0.0, 2.0, 1.0])), "t_s: the stamp goes back at row 2"),
    ],
)
def test_what_is_refused_is_told_in_one_line(call, told: str) -> None:
    with pytest.raises(InputError, match=told):
        call()
