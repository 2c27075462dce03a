"""Exit speed, drag and pivot offset from measured shots."""

from dataclasses import replace

import numpy as np
import pytest

from posefuse.aim.arcs import solve
from posefuse.aim.fit import (
    Fitted,
    MeasuredShots,
    fit_shots,
    flown_points_m,
    with_values,
)
from posefuse.aim.load import load_measured_shots
from posefuse.aim.next_shots import next_distances
from posefuse.errors import FileError, InputError

TRUE = {Fitted.EXIT_SPEED: 9.2, Fitted.DRAG: 0.5}
OFFSET_RAD = 0.02


def shots_at(pivots_deg, *, distance_m=1.0, height_m=0.0, on_wall=False):
    count = len(pivots_deg)
    return MeasuredShots(
        pivots_rad=np.radians(pivots_deg),
        distances_m=np.full(count, distance_m),
        heights_m=np.full(count, height_m),
        is_height_measured=np.full(count, on_wall),
    )


def measured(shots, shooter, *, noise_m=0.0, seed=0):
    points = flown_points_m(shots, shooter=with_values(shooter, TRUE), pivot_offset_rad=OFFSET_RAD)
    points = points + noise_m * np.random.default_rng(seed).normal(size=len(points))
    name = "heights_m" if shots.is_height_measured[0] else "distances_m"
    return replace(shots, **{name: points})


LANDED = shots_at(np.repeat([20.0, 30.0, 40.0, 50.0, 65.0], 3))
ON_WALL = shots_at(np.repeat([20.0, 30.0, 40.0, 50.0], 3), distance_m=4.0, on_wall=True)


@pytest.mark.parametrize("shots", [LANDED, ON_WALL], ids=["landed", "on the wall"])
def test_exact_shots_give_back_what_threw_them(exact_shooter, shots):
    fit = fit_shots(measured(shots, exact_shooter), shooter=exact_shooter)
    assert fit.values == pytest.approx([9.2, 0.5, 0.02], abs=1e-5)
    assert fit.shooter.exit_speed_m_per_s == fit.values[0]
    assert fit.shooter.projectile.drag_coefficient == fit.values[1]
    assert fit.pivot_offset_rad == fit.values[2]
    assert fit.residual_std_m < 1e-5


def test_intervals_hold_the_truth_as_often_as_they_say(exact_shooter):
    held = np.zeros(3)
    for seed in range(60):
        shots = measured(LANDED, exact_shooter, noise_m=0.05, seed=seed)
        fit = fit_shots(shots, shooter=exact_shooter, level=0.8)
        truth = np.array([9.2, 0.5, 0.02])
        held += (fit.lows <= truth) & (truth <= fit.highs)
    # 60 draws of a share of 0.8: a standard deviation of 0.052
    assert (np.abs(held / 60 - 0.8) < 3.5 * 0.052).all()


def test_the_scatter_is_that_of_the_measurements(exact_shooter):
    stds = [
        fit_shots(
            measured(LANDED, exact_shooter, noise_m=0.05, seed=seed), shooter=exact_shooter
        ).residual_std_m
        for seed in range(20)
    ]
    assert np.sqrt(np.mean(np.square(stds))) == pytest.approx(0.05, rel=0.15)


def test_what_is_not_free_is_kept(exact_shooter):
    shots = measured(LANDED, exact_shooter)
    fit = fit_shots(shots, shooter=exact_shooter, free=[Fitted.EXIT_SPEED])
    assert fit.values.shape == (1,)
    assert fit.shooter.projectile == exact_shooter.projectile
    assert fit.pivot_offset_rad == 0.0
    assert fit.residual_std_m > 0.01  # drag and offset are missed


def test_the_next_shots_lower_the_uncertainty_of_the_pivots_most(exact_shooter, goal):
    fit = fit_shots(measured(LANDED, exact_shooter, noise_m=0.05), shooter=exact_shooter)
    distances = np.arange(2.0, 6.1, 0.5)
    chosen = next_distances(fit, goal=goal, distances_m=distances, count=3)
    assert len(chosen.distances_m) == 3
    assert (np.diff(chosen.pivot_std_rad) < 0.0).all()
    alone = [
        next_distances(fit, goal=goal, distances_m=distances[[k]], count=1).distances_m[0]
        for k in range(len(distances))
    ]
    assert alone == distances.tolist()


def test_a_further_shot_adds_its_information(exact_shooter, goal):
    # least squares: the information of the shots adds up, over the variance of their scatter
    fit = fit_shots(measured(LANDED, exact_shooter, noise_m=0.05), shooter=exact_shooter)
    distances = np.arange(2.0, 6.1, 0.5)
    chosen = next_distances(fit, goal=goal, distances_m=distances, count=1)
    landing = slopes_by_values(
        fit,
        lambda shooter, offset: flown_points_m(
            shots_at(np.degrees(chosen.pivots_rad)), shooter=shooter, pivot_offset_rad=offset
        ),
    )
    pivots = slopes_by_values(
        fit,
        lambda shooter, offset: (
            solve(distances, shooter=shooter, height_m=1.6).pivot_rad[0] - offset
        ),
    )
    information = np.linalg.inv(fit.cov) + landing.T @ landing / fit.residual_std_m**2
    for cov, predicted in zip(
        (fit.cov, np.linalg.inv(information)), chosen.pivot_std_rad, strict=True
    ):
        spread = np.sqrt(np.mean(np.diag(pivots @ cov @ pivots.T)))
        assert predicted == pytest.approx(spread, rel=1e-3)


def slopes_by_values(fit, function):
    """Central differences (m, 3) of a function of a shooter and its pivot offset."""
    columns = []
    for k, step in enumerate((1e-2, 1e-3, 1e-4)):
        up, down = (
            dict(zip(fit.free, fit.values + sign * step * np.eye(3)[k], strict=True))
            for sign in (1.0, -1.0)
        )
        ends = [
            function(with_values(fit.shooter, values), values[Fitted.PIVOT_OFFSET])
            for values in (up, down)
        ]
        columns.append((ends[0] - ends[1]) / (2.0 * step))
    return np.stack(columns, axis=-1)


def test_shots_that_cannot_separate_the_values_are_refused(exact_shooter):
    alike = measured(shots_at([40.0] * 6), exact_shooter)
    with pytest.raises(InputError, match="cannot separate exit_speed and drag and pivot_offset"):
        fit_shots(alike, shooter=exact_shooter)


def test_shots_without_drag_are_reported(exact_shooter):
    bare = with_values(exact_shooter, {Fitted.DRAG: 0.0})
    landed = flown_points_m(LANDED, shooter=bare)
    shots = replace(LANDED, distances_m=landed)
    with pytest.raises(InputError, match="these shots show no drag"):
        fit_shots(shots, shooter=exact_shooter)
    fit = fit_shots(shots, shooter=bare, free=[Fitted.EXIT_SPEED, Fitted.PIVOT_OFFSET])
    assert fit.values == pytest.approx([9.5, 0.0], abs=1e-4)


def test_a_search_may_begin_at_no_drag(exact_shooter):
    bare = with_values(exact_shooter, {Fitted.DRAG: 0.0})
    fit = fit_shots(measured(LANDED, exact_shooter), shooter=bare)
    assert fit.values == pytest.approx([9.2, 0.5, 0.02], abs=1e-5)


@pytest.mark.parametrize(
    ("change", "free", "message"),
    [
        ({"projectile": None}, tuple(Fitted), "the shooter has no projectile"),
        ({}, (), "name one value or more to fit, each once"),
        ({}, tuple(Fitted), "4 shots or more are needed for 3 values (got 2)"),
    ],
)
def test_what_cannot_be_fitted_is_reported_in_one_line(exact_shooter, change, free, message):
    shots = measured(shots_at([30.0, 50.0]), exact_shooter)
    with pytest.raises(InputError) as caught:
        fit_shots(shots, shooter=replace(exact_shooter, **change), free=free)
    assert message in str(caught.value)


def test_next_distances_out_of_reach_are_reported(exact_shooter, goal):
    fit = fit_shots(measured(LANDED, exact_shooter, noise_m=0.05), shooter=exact_shooter)
    with pytest.raises(InputError, match="needs one distance or more within reach"):
        next_distances(fit, goal=goal, distances_m=[30.0])


def test_a_file_of_shots_is_read(tmp_path):
    path = tmp_path / "shots.csv"
    path.write_text(
        "pivot_deg,distance_m,height_m,measured\n30,7.5,0,distance\n40,4,2.1,height\n",
        encoding="utf-8",
    )
    shots = load_measured_shots(path)
    assert shots.pivots_rad == pytest.approx(np.radians([30.0, 40.0]))
    assert shots.is_height_measured.tolist() == [False, True]
    path.write_text("height_m,pivot_deg,distance_m\n0,30,7.5\n", encoding="utf-8")
    assert load_measured_shots(path).is_height_measured.tolist() == [False]


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("pivot_deg,distance_m\n30,7.5\n", "shots.csv:1: missing column: height_m"),
        ("pivot_deg,distance_m,height\n30,7.5,0\n", "did you mean 'height_m'?"),
        ("pivot_deg,distance_m,height_m\n30,,0\n", "shots.csv:2: distance_m: the cell is empty"),
        ("pivot_deg,distance_m,height_m\n30,-2,0\n", "distances must be above 0 (got -2 m)"),
        (
            "pivot_deg,distance_m,height_m,measured\n30,7.5,0,both\n",
            "measured: must be distance or height (got 'both')",
        ),
    ],
)
def test_a_bad_file_of_shots_is_reported(tmp_path, text, message):
    path = tmp_path / "shots.csv"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(FileError) as caught:
        load_measured_shots(path)
    assert message in str(caught.value)
