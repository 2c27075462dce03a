"""How far outside the image nominal corners may lie, for a trial to bring them in.

The sightings that trials can give are found once, with everything where it should be. What a build
moves in, a rolling shutter shifts in or a detector scatters in must be among them. Knocks need no
margin: after one the nominal place of the mount is the knocked one.
"""

import math

import numpy as np

from posefuse.arena.arena import Arena
from posefuse.build_errors.spreads import BuildSpreads
from posefuse.checks import locked
from posefuse.robot.rig import Rig
from posefuse.sensing.arrays import MarginArrays
from posefuse.sensing.frames import CapturedFrames

__all__ = ["candidate_margin"]

_SPREADS = 4.0
"""So many standard deviations of the build's errors are allowed for."""
_SCATTER_PX = 3.0
"""Of a corner, by the detector."""
_SLOPE = 2.0
"""Times the focal length: px by which a turn of 1 rad moves a point far from the middle."""


def candidate_margin(
    frames: CapturedFrames, *, arena: Arena, rig: Rig, spreads: BuildSpreads
) -> MarginArrays:
    """The margin of each frame: it hangs on the frame's own mount, never on other mounts."""
    turning, moving, turning_up, moving_up = (
        np.linalg.norm(rates[:, part], axis=1)
        for rates in (frames.robot_twist, frames.robot_acceleration)
        for part in (slice(3), slice(3, 6))
    )
    px, px_m = np.empty(len(turning)), np.empty(len(turning))
    tag_reach_m = max(tag.edge_m for tag in arena.tags) / math.sqrt(2.0)
    for index, mount in enumerate(rig.mounts):
        own = np.flatnonzero(frames.camera == index)
        slope_px, sensor = _SLOPE * float(mount.camera.lens.focal_px.max()), mount.camera.sensor
        arm_m = float(np.linalg.norm(mount.position_in_robot_m))
        # from the exposure of the middle row to that of the last
        read_s = sensor.row_time_s * (sensor.height_px - 1) / 2.0
        turned_rad = read_s * turning[own] + 0.5 * read_s**2 * turning_up[own]
        built_px = math.hypot(
            slope_px * spreads["mount_angle_rad"],
            slope_px * spreads["lean_rad"],
            spreads["focal_fraction"] * sensor.width_px / 2.0,
            spreads["centre_px"],
            spreads["distortion_k1"] * slope_px,
        )
        built_m = math.hypot(
            spreads["mount_position_m"],
            spreads["tag_position_m"],
            spreads["tag_heading_rad"] * tag_reach_m,
            spreads["tag_lean_rad"] * tag_reach_m,
            spreads["tag_scale_fraction"] * tag_reach_m,
            spreads["lean_rad"] * arm_m,
        )
        moved_m = read_s * moving[own] + 0.5 * read_s**2 * moving_up[own] + turned_rad * arm_m
        px[own] = _SCATTER_PX + _SPREADS * built_px + slope_px * turned_rad
        px_m[own] = slope_px * (_SPREADS * built_m + moved_m)
    return MarginArrays(px=locked(px), px_m=locked(px_m))
