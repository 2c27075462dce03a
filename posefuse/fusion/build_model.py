"""What a filter that knows of build errors is told beforehand: shared by both such filters."""

from dataclasses import dataclass

import numpy as np

from posefuse.arena.arena import Arena, Tag
from posefuse.build_errors.constants import Constants, constants_of
from posefuse.build_errors.spreads import BuildSpreads
from posefuse.checks import FloatArray, IntArray
from posefuse.fusion.odometry_rates import rates_at_captures
from posefuse.fusion.weighing import cameras_of_frames, tags_seen
from posefuse.motion.lean import lean_angles_rad
from posefuse.motion.wheels import twist_slopes
from posefuse.recording.recording import Recording
from posefuse.robot.rig import Mount, Rig

__all__ = ["FELT_BY_NO_FILTER", "BuildModel", "make_build_model"]

FELT_BY_NO_FILTER = ("slip_fraction",)
"""Wheels and tags do not tell how much of a stated slip is there."""

_MOST_M_PER_S2 = 10.0
"""Spread of an acceleration that the odometry does not tell: no robot does more on its wheels."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class BuildModel:
    """The build as a filter sees it.

    Parameters
    ----------
    constants
        Of the rig in the arena, with the spreads that the team believes.
    is_estimated
        Whether they are estimated, not only considered.
    camera_of_frame, target : (frames,), (sightings,) ints
        Indices into ``mounts`` and ``tags``, for the whole recording.
    velocities : (frames, 3) array
        At the capture by the odometry, in the robot's axes: forward, left (m/s), turn (rad/s).
    leans, lean_stds : (frames, 2), (frames,) arrays
        Roll and pitch of the accelerating chassis at the capture by the odometry and the rig's
        stated lean, in rad; spread of each.
    twists, twist_slopes : (rows, 3), (rows, 3, wheels + 3) arrays
        Measured motions, and by how much they are too large for one unit of each wheel constant.
    """

    constants: Constants
    is_estimated: bool
    mounts: tuple[Mount, ...]
    tags: tuple[Tag, ...]
    camera_of_frame: IntArray
    target: IntArray
    velocities: FloatArray
    leans: FloatArray
    lean_stds: FloatArray
    twists: FloatArray
    twist_slopes: FloatArray

    @property
    def unknown(self) -> IntArray:
        """Places among the constants of those that are not known, (p,)."""
        is_unknown = self.constants.stds > 0.0
        for name in FELT_BY_NO_FILTER:
            is_unknown[self.constants.places(name)] = False
        return np.flatnonzero(is_unknown)

    def state_places(self) -> IntArray:
        """Where each constant stands in the state behind x, y, heading; -1 for what is known."""
        places = np.full(len(self.constants), -1, dtype=np.int64)
        places[self.unknown] = 3 + np.arange(len(self.unknown))
        return places

    def state_variances(self) -> FloatArray:
        """Variances (3 + p,) of the constants at their places in the state; the pose's are zero."""
        return np.concatenate([np.zeros(3), self.constants.stds[self.unknown] ** 2])


def make_build_model(
    recording: Recording, *, rig: Rig, arena: Arena, believed: BuildSpreads, is_estimated: bool
) -> BuildModel:
    """The build model of one run; the spreads of the robot's gyro come from its file.

    Raises
    ------
    InputError
        A tag or camera that the arena or the rig does not have.
    """
    twists = recording.odometry.twists
    steps_s = np.diff(recording.odometry.stamps_s)
    slopes = np.zeros((len(twists), 3, len(rig.drivetrain.wheels) + 3))
    slopes[1:] = twist_slopes(rig.drivetrain, twists[1:], steps_s)
    rates = rates_at_captures(recording.odometry, recording.frames)
    lean = rig.body.lean_rad_per_m_per_s2
    return BuildModel(
        constants=constants_of(rig, arena, believed),
        is_estimated=is_estimated,
        mounts=rig.mounts,
        tags=arena.tags,
        camera_of_frame=cameras_of_frames(recording, rig),
        target=tags_seen(recording, arena),
        velocities=rates.velocities,
        leans=lean_angles_rad(rates.accelerations, heading_rad=0.0, lean_rad_per_m_per_s2=lean),
        lean_stds=lean * np.minimum(rates.acceleration_stds, _MOST_M_PER_S2),
        twists=twists,
        twist_slopes=slopes,
    )
