"""Slopes of the grey levels along a tag's side against central differences."""

import numpy as np
import pytest

from posefuse.rendering.compiled.edge_model import (
    FIT_NUMBERS,
    IS_BOX,
    PARAMETERS,
    SPREAD,
    WIDTH,
    grey_with_slopes,
)
from posefuse.rendering.compiled.edge_pixels import PIXEL_COLUMNS, Side

SIDE = Side(0.0, 0.0, 1.0, 0.0, 20.0, 2.6, 2.3, 2.5, 2.2, 1.0, 19.0)


@pytest.mark.parametrize("is_box", [False, True])
def test_slopes_of_the_grey_levels(is_box) -> None:
    generator = np.random.default_rng(4)
    slopes, unused = np.empty((PARAMETERS, 2)), np.empty((PARAMETERS, 1))
    for _ in range(300):
        fit = np.zeros(FIT_NUMBERS)
        fit[:PARAMETERS] = (0.3, -0.2, 0.1, 0.8, 20.0, 180.0, 90.0, 15.0)
        fit[:PARAMETERS] *= generator.uniform(0.5, 1.5, PARAMETERS)
        fit[WIDTH], fit[IS_BOX] = (3.5, 1.0) if is_box else (1.0, 0.0)
        pixel = np.empty(PIXEL_COLUMNS)
        pixel[:] = generator.uniform((0.0, -3.0, 0.0, 0.5, 0.0), (1.0, 3.0, 255.0, 1.0, 1.0))
        grey_with_slopes(pixel, SIDE, fit, slopes, 1)
        for p in range(PARAMETERS):
            place = WIDTH if p == SPREAD and is_box else p
            step = 1e-2 * max(1.0, abs(fit[place]))  # wide beside the table's own steps
            more, less = fit.copy(), fit.copy()
            more[place] += step
            less[place] -= step
            rise = grey_with_slopes(pixel, SIDE, more, unused, 0)
            fall = grey_with_slopes(pixel, SIDE, less, unused, 0)
            assert slopes[p, 1] == pytest.approx((rise - fall) / (2.0 * step), rel=0.01, abs=0.25)
