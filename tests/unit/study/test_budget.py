"""The parts of an error: by hand, from sensitivities that are known."""

import math
from dataclasses import replace

import numpy as np
import pytest

from posefuse.build_errors.catalogue import build_error
from posefuse.build_errors.constants import Constant, Constants
from posefuse.study.budget import KNOWN, LEFT, NOISE, error_budget
from posefuse.study.forecast import Forecast
from posefuse.study.outlook import Outlook


def outlook(
    *,
    toward: tuple[float, float],
    sensitivities_m: list[float],
    known_m: float = 0.0,
    is_split: bool = True,
):
    """One shot; two mounts' pan, a tag's x and a wheel; 3 mm of noise along and across."""
    members = tuple(
        Constant(error=build_error(name), owner=owner, axis="")
        for name, owner in (
            ("mount_angle_rad", "left"),
            ("mount_angle_rad", "right"),
            ("tag_position_m", "tag 1"),
            ("wheel_radius_fraction", "wheel 1"),
        )
    )
    sensitivities = np.zeros((1, 3, 4))
    sensitivities[0, :2] = np.outer(toward, sensitivities_m)
    known = np.zeros((1, 3))
    known[0, :2] = np.array(toward) * known_m
    return Outlook(
        forecast=Forecast(
            constants=Constants(
                members=members,
                stds=np.array([0.01, 0.01, 0.005, 0.004]),
                mount_count=2,
                tag_count=1,
                wheel_count=1,
            ),
            believed_covs=np.eye(3)[None],
            white_covs=(0.003**2 * np.eye(3))[None],
            sensitivities=sensitivities,
            known=known,
            is_split=is_split,
        ),
        attainable_covs=np.eye(3)[None],
        toward_goal=np.array([toward]),
    )


def test_shares_are_mean_squares_by_kind_over_all_shots() -> None:
    first = outlook(toward=(1.0, 0.0), sensitivities_m=[0.3, 0.4, 0.8, 0.0], known_m=0.002)
    second = outlook(toward=(0.6, 0.8), sensitivities_m=[0.0, 0.0, 0.4, 0.0])
    budget = error_budget([first, second])
    # in mm^2, halves of: mount angle 3^2 + 4^2; tag position 4^2 + 2^2; noise 2 x 3^2; known 2^2
    squares = {"mount angle": 25.0, "tag position": 20.0, NOISE: 18.0, KNOWN: 4.0}
    total = sum(squares.values())
    assert {part.label: part.square_share for part in budget.parts} == pytest.approx(
        {label: square / total for label, square in squares.items()}
    )
    assert [part.label for part in budget.parts] == list(squares)  # largest first, no zeros
    assert budget.rms_m == pytest.approx(1e-3 * math.sqrt(total / 2.0))
    assert budget.constant_share == pytest.approx((total - 18.0) / total)
    assert budget.rms_without_m(budget.parts[0]) == pytest.approx(
        1e-3 * math.sqrt((total - 25.0) / 2.0)
    )
    assert budget.parts[0].error is build_error("mount_angle_rad")
    assert budget.parts[0].each_std == 0.01
    assert budget.parts[2].error is None


def test_it_adds_up_to_the_forecast() -> None:
    made = outlook(toward=(0.6, 0.8), sensitivities_m=[0.1, 0.2, 0.3, 0.4], known_m=0.01)
    assert error_budget([made]).rms_m ** 2 == pytest.approx(made.forecast_squares_m2[0])
    without = replace(made, forecast=replace(made.forecast, known=np.zeros((1, 3))))
    assert KNOWN not in [part.label for part in error_budget([without]).parts]


def test_a_filter_that_estimates_the_build_leaves_one_part() -> None:
    made = outlook(toward=(0.6, 0.8), sensitivities_m=[0.0] * 4, is_split=False)
    budget = error_budget([made])
    assert [(part.label, part.square_share) for part in budget.parts] == [(LEFT, 1.0)]
    assert budget.constant_share == 0.0
    assert budget.rms_m == pytest.approx(0.003)
