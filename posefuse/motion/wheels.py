"""Odometry simulated wheel by wheel, and the body motion recovered from it."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from posefuse.checks import FloatArray, frozen_array
from posefuse.errors import InputError
from posefuse.geometry.plane import PlanePose, arc_twist
from posefuse.motion.course import Bump
from posefuse.motion.gyro import gyro_turns
from posefuse.motion.kinematics import body_matrix
from posefuse.motion.path import TruePath
from posefuse.motion.rolling import bump_std_m, rolled_by, slip_factors
from posefuse.randomness.streams import normals
from posefuse.robot.drivetrain import Drivetrain, DrivetrainKind

__all__ = ["OdometryRows", "WheelRun", "odometry_rows", "prepare_wheels", "twist_slopes"]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class OdometryRows:
    """Odometry of one run, with the truth it came from.

    Parameters
    ----------
    twists : (rows, 3) array
        As measured: forward_m, left_m, turn_rad since the row before; the first row is zero.
    step_covs : (rows, 3, 3) array
        Covariance of the white part of each twist's error: noise of travel, steering and gyro, and
        bumps. What stays over many rows (radius, slip, bias, scale) and the encoder's steps are not
        in it.
    true_poses : (rows, 3) array
        x_m, y_m, heading_rad, unwrapped.
    """

    stamps_s: FloatArray
    twists: FloatArray
    step_covs: FloatArray
    true_poses: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class WheelRun:
    """All of a run's odometry that no trial changes. The steps are the rows after the first.

    Parameters
    ----------
    recovery : (3, wheels or twice as many) array
        The body's twist from the wheels' travel: see ``body_matrix``.
    true_twists : (steps, 3) array
    rolled_m : (wheels, steps) array
        What each rim truly rolls, slip left out; of a steered wheel never negative.
    directions : (2, wheels, steps) array
        Unit vectors along which steered wheels roll, in the robot frame; others have none.
    slip_factors : (wheels, steps) array
        What the encoders read for each metre rolled: see ``rolling.slip_factors``.
    travel_std_m, bump_std_m : (wheels, steps), (steps,) arrays
        Spread of the white error of each wheel, and of what bumps add to it.
    """

    drivetrain: Drivetrain
    recovery: FloatArray
    stamps_s: FloatArray
    true_poses: FloatArray
    true_twists: FloatArray
    rolled_m: FloatArray
    directions: FloatArray
    slip_factors: FloatArray
    travel_std_m: FloatArray
    bump_std_m: FloatArray
    step_covs: FloatArray

    def rows(
        self, *, seed: int, trial: int, constants: FloatArray | None = None, ideal: bool = False
    ) -> OdometryRows:
        """What one trial's wheels and gyro measure.

        Parameters
        ----------
        constants : (wheels + 3,) array
            Of the build: the fraction by which each wheel is larger than stated, the fraction by
            which wheels slip more than stated, the gyro's bias (rad/s) and scale error. All zero
            when not given.
        ideal
            Without any error: the truth, and no covariance.
        """
        wheels = len(self.drivetrain.wheels)
        given = np.zeros(wheels + 3) if constants is None else constants
        of_build = frozen_array("odometry constants", given, (wheels + 3,))
        twists = np.zeros_like(self.true_poses)
        if ideal:
            twists[1:] = self._body_twists(self.rolled_m, self.directions)
        else:
            twists[1:] = self._measured(seed, trial, of_build)
        return OdometryRows(
            stamps_s=self.stamps_s,
            twists=twists,
            step_covs=np.zeros_like(self.step_covs) if ideal else self.step_covs,
            true_poses=self.true_poses,
        )

    def constant_slopes(self) -> tuple[FloatArray, FloatArray]:
        """How constants of the build change the measured twists, and what slip does to them.

        Returns
        -------
        slopes : (steps, 3, wheels + 3) array
            By the fraction by which each wheel is larger than stated, by the fraction by which it
            slips more than stated, by the gyro's bias (rad/s) and scale; in the robot's axes.
        slip : (steps, 3) array
            What the stated slip adds.
        """
        slipped = self.rolled_m * (self.slip_factors - 1.0)
        slip = self._body_twists(slipped, self.directions)
        if self.drivetrain.gyro is not None:
            slip[:, 2] = 0.0
        slopes = _slopes(
            self.drivetrain, self.rolled_m * self.slip_factors, self.directions, self.recovery
        )
        slopes[:, :, -3] = slip
        if self.drivetrain.gyro is not None:
            slopes[:, 2, -2], slopes[:, 2, -1] = np.diff(self.stamps_s), self.true_twists[:, 2]
        return slopes, slip

    def _measured(self, seed: int, trial: int, constants: FloatArray) -> FloatArray:
        twists = self._body_twists(
            self._encoded_m(seed, trial, constants), self._steered(seed, trial)
        )
        if self.drivetrain.gyro is not None:
            steps_s = np.diff(self.stamps_s)
            twists[:, 2] = gyro_turns(
                self.true_twists[:, 2],
                steps_s,
                self.drivetrain.gyro,
                bias_rad_per_s=constants[-2],
                scale_fraction=constants[-1],
                seed=seed,
                trial=trial,
            )
        return twists

    def _encoded_m(self, seed: int, trial: int, constants: FloatArray) -> FloatArray:
        """What the encoders read of each wheel, in metres of a wheel of the stated radius."""
        fractions = constants[:-3]
        read = self.rolled_m * (1.0 + (self.slip_factors - 1.0) * (1.0 + constants[-3]))
        bumped = np.flatnonzero(self.bump_std_m)
        for wheel in range(1, len(read) + 1):
            row = read[wheel - 1]
            if self.drivetrain.travel_std_m_per_sqrt_m:
                drawn = normals(seed, trial, f"wheel {wheel} travel", len(row))
                row += self.travel_std_m[wheel - 1] * drawn
            if len(bumped):
                drawn = normals(seed, trial, f"wheel {wheel} bumps", len(bumped))
                row[bumped] += self.bump_std_m[bumped] * drawn
        read /= 1.0 + fractions[:, None]
        if self.drivetrain.encoder_counts_per_turn:
            rim_m = 2.0 * np.pi * self.drivetrain.wheel_radius_m
            count_m = rim_m / self.drivetrain.encoder_counts_per_turn
            counts = np.rint(np.cumsum(read, axis=1) / count_m)
            read = np.diff(counts, axis=1, prepend=0.0) * count_m
        return np.asarray(read)

    def _steered(self, seed: int, trial: int) -> FloatArray:
        """Directions of the wheels as their steering encoders read them."""
        std = self.drivetrain.steering_std_rad
        if not (std and self.is_steered):
            return self.directions
        x, y = self.directions
        names = [f"wheel {wheel} steering" for wheel in range(1, len(x) + 1)]
        off = std * np.array([normals(seed, trial, name, x.shape[1]) for name in names])
        c, s = np.cos(off), np.sin(off)
        return np.stack([c * x - s * y, s * x + c * y])

    def _body_twists(self, rolled_m: FloatArray, directions: FloatArray) -> FloatArray:
        """Least squares over the wheels, (steps, 3)."""
        # einsum adds in one fixed order; a threaded matrix product may differ in the last bit
        over_wheels = "ws,jw->sj"
        if not self.is_steered:
            return np.asarray(np.einsum(over_wheels, rolled_m, self.recovery))
        x, y = rolled_m * directions
        along = np.einsum(over_wheels, x, self.recovery[:, 0::2])
        return np.asarray(along + np.einsum(over_wheels, y, self.recovery[:, 1::2]))

    @property
    def is_steered(self) -> bool:
        """Whether each wheel reads a direction beside its travel."""
        return self.drivetrain.kind is DrivetrainKind.SWERVE


def twist_slopes(drivetrain: Drivetrain, twists: FloatArray, steps_s: FloatArray) -> FloatArray:
    """By how much measured twists are too large, for one unit of each constant of the build.

    Parameters
    ----------
    twists, steps_s : (steps, 3), (steps,) arrays
        forward_m, left_m, turn_rad as measured; duration of each step.

    Returns
    -------
    (steps, 3, wheels + 3) array
        By the fraction by which each wheel is larger than stated, by slip (not known from twists:
        zero), by the gyro's bias (rad/s) and scale.
    """
    rolled, directions = rolled_by(drivetrain, twists)
    slopes = _slopes(drivetrain, rolled, directions, body_matrix(drivetrain))
    if drivetrain.gyro is not None:
        slopes[:, 2, -2], slopes[:, 2, -1] = steps_s, twists[:, 2]
    return slopes


def _slopes(
    drivetrain: Drivetrain, rolled_m: FloatArray, directions: FloatArray, recovery: FloatArray
) -> FloatArray:
    """Twists by the radius of each wheel, (steps, 3, wheels + 3); slip and gyro are left zero."""
    wheels = len(drivetrain.wheels)
    slopes = np.zeros((rolled_m.shape[1], 3, wheels + 3))
    for wheel in range(wheels):
        if drivetrain.kind is DrivetrainKind.SWERVE:
            effect = recovery[:, 2 * wheel : 2 * wheel + 2] @ directions[:, wheel]
            slopes[:, :, wheel] = -(effect * rolled_m[wheel]).T
        else:
            slopes[:, :, wheel] = -np.outer(rolled_m[wheel], recovery[:, wheel])
    if drivetrain.gyro is not None:
        slopes[:, 2, :] = 0.0
    return slopes


def odometry_rows(
    path: TruePath,
    drivetrain: Drivetrain,
    bumps: Sequence[Bump],
    *,
    seed: int,
    trial: int,
    constants: FloatArray | None = None,
    ideal: bool = False,
) -> OdometryRows:
    """Odometry of one trial; for many trials keep what ``prepare_wheels`` gives."""
    return prepare_wheels(path, drivetrain, bumps).rows(
        seed=seed, trial=trial, constants=constants, ideal=ideal
    )


def prepare_wheels(path: TruePath, drivetrain: Drivetrain, bumps: Sequence[Bump]) -> WheelRun:
    """Everything about a run's odometry that no trial changes.

    Raises
    ------
    InputError
        A path shorter than one odometry step.
    """
    count = int(np.floor((path.end_s - path.start_s) * drivetrain.rate_hz + 1e-6))
    if count < 1:
        raise InputError(
            f"course: must last one odometry step, {1.0 / drivetrain.rate_hz:g} s, or longer "
            f"(got {path.end_s - path.start_s:g} s)"
        )
    stamps = np.minimum(path.start_s + np.arange(count + 1) / drivetrain.rate_hz, path.end_s)
    poses = path.poses(stamps).values
    twists = arc_twist(PlanePose(poses[:-1]).inverse() @ PlanePose(poses[1:]))
    recovery = body_matrix(drivetrain)
    rolled, directions = rolled_by(drivetrain, twists)
    slip = slip_factors(path, drivetrain, (stamps[1:] + stamps[:-1]) / 2.0, rolled, directions)
    travel_std = drivetrain.travel_std_m_per_sqrt_m * np.sqrt(np.abs(rolled))
    bump_std = bump_std_m(stamps, bumps)
    return WheelRun(
        drivetrain=drivetrain,
        recovery=recovery,
        stamps_s=stamps,
        true_poses=poses,
        true_twists=twists,
        rolled_m=rolled,
        directions=directions,
        slip_factors=slip,
        travel_std_m=travel_std,
        bump_std_m=bump_std,
        step_covs=_step_covs(
            drivetrain,
            recovery,
            np.diff(stamps),
            directions,
            np.hypot(travel_std, bump_std),
            drivetrain.steering_std_rad * rolled * slip,
        ),
    )


def _step_covs(
    drivetrain: Drivetrain,
    recovery: FloatArray,
    steps_s: FloatArray,
    directions: FloatArray,
    along_std_m: FloatArray,
    across_std_m: FloatArray,
) -> FloatArray:
    """Covariance (steps + 1, 3, 3) of the white error of each measured twist.

    Parameters
    ----------
    along_std_m, across_std_m : (wheels, steps) arrays
        White error of each wheel along its direction, and across it by its steering.
    """
    if drivetrain.kind is DrivetrainKind.SWERVE:
        wheels = len(drivetrain.wheels)
        pairs = recovery.reshape(3, wheels, 2)
        across = np.stack([-directions[1], directions[0]])
        by_rolling = np.einsum("awk,kws->wsa", pairs, directions) * along_std_m[..., None]
        by_steering = np.einsum("awk,kws->wsa", pairs, across) * across_std_m[..., None]
        effects = np.concatenate([by_rolling, by_steering])
    else:
        effects = recovery.T[:, None, :] * along_std_m[..., None]
    covs = np.zeros((len(steps_s) + 1, 3, 3))
    covs[1:] = np.einsum("wsa,wsb->sab", effects, effects)
    if drivetrain.gyro is not None:
        covs[:, 2, :] = covs[:, :, 2] = 0.0
        covs[1:, 2, 2] = drivetrain.gyro.noise_rad_per_sqrt_s**2 * steps_s
    return covs
