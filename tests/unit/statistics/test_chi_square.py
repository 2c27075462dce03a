"""The region of an average of independent chi-square values."""

import numpy as np
import pytest

from posefuse.errors import InputError
from posefuse.statistics.chi_square import chi_square_average_interval


def test_averages_of_independent_values_lie_inside_as_often_as_the_region_says():
    averages = np.random.default_rng(4).chisquare(3, size=(4000, 20)).mean(axis=1)
    low, high = chi_square_average_interval(3, 20)
    assert 0.94 < np.mean((low <= averages) & (averages <= high)) < 0.96


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: chi_square_average_interval(0, 5), "dof and count must be 1 or more"),
        (lambda: chi_square_average_interval(3, 0), "dof and count must be 1 or more"),
        (lambda: chi_square_average_interval(3, 5, level=1.5), "level: must be between 0 and 1"),
    ],
)
def test_what_cannot_be_is_refused(call, message):
    with pytest.raises(InputError, match=message):
        call()
