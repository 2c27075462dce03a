"""The errors a real build has and the filter does not know: one draw a trial."""

from dataclasses import dataclass, fields

import numpy as np

from posefuse.arena.arena import Arena
from posefuse.checks import FloatArray, not_negative
from posefuse.randomness.streams import named_normals, stream
from posefuse.robot.rig import Rig

__all__ = ["AsBuilt", "AsBuiltSpreads", "draw_as_built"]


@dataclass(frozen=True, slots=True, kw_only=True)
class AsBuiltSpreads:
    """Spread (one standard deviation) of every source of build error; zero switches it off.

    Parameters
    ----------
    mount_angle_rad
        Pan, tilt and roll of each mount.
    mount_position_m, tag_position_m
        Each axis.
    tag_heading_rad
        Where each tag faces.
    focal_fraction, wheel_radius_fraction
        Relative errors of each lens and each wheel.
    clock_offset_s
        Of each camera's capture stamps: positive stamps come late.
    lean_rad
        Constant roll and pitch of the chassis.
    """

    mount_angle_rad: float = 0.0
    mount_position_m: float = 0.0
    tag_position_m: float = 0.0
    tag_heading_rad: float = 0.0
    focal_fraction: float = 0.0
    wheel_radius_fraction: float = 0.0
    clock_offset_s: float = 0.0
    lean_rad: float = 0.0

    def __post_init__(self) -> None:
        for source in self.sources():
            not_negative(f"as_built: {source}", getattr(self, source))

    @classmethod
    def sources(cls) -> tuple[str, ...]:
        """The names of all sources, each with its own random stream."""
        return tuple(f.name for f in fields(cls))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class AsBuilt:
    """One build.

    Parameters
    ----------
    mount_angles_rad : (mounts, 3) array
        Errors of pan, tilt, roll.
    mount_offsets_m : (mounts, 3) array
        In the robot frame.
    tag_offsets_m, tag_turns_rad : (tags, 3), (tags,) arrays
        In the world frame; turns about z.
    focal_factors : (mounts,) array
        True over nominal focal length.
    wheel_radius_fractions : (wheels,) array
        Relative error of the true radius.
    clock_offsets_s : (mounts,) array
    lean_rad : (2,) array
        Roll, pitch.
    """

    mount_angles_rad: FloatArray
    mount_offsets_m: FloatArray
    tag_offsets_m: FloatArray
    tag_turns_rad: FloatArray
    focal_factors: FloatArray
    wheel_radius_fractions: FloatArray
    clock_offsets_s: FloatArray
    lean_rad: FloatArray


def draw_as_built(
    spreads: AsBuiltSpreads, *, rig: Rig, arena: Arena, seed: int, trial: int
) -> AsBuilt:
    """One draw of every source.

    Mounts draw by their name and tags by their id, so that rivals share what they have in common.
    """

    def by_mount(source: str, width: int, spread: float) -> FloatArray:
        if spread == 0.0:
            return np.zeros((len(rig.mounts), width))
        return spread * np.array(
            [
                stream(seed, trial, f"as built: {source}: {mount.name}").standard_normal(width)
                for mount in rig.mounts
            ]
        ).reshape(-1, width)

    def by_tag(source: str, width: int, spread: float) -> FloatArray:
        if spread == 0.0:
            return np.zeros((len(arena.tags), width))
        ids = np.array([tag.id for tag in arena.tags])
        return spread * named_normals(seed, trial, f"as built: {source}", ids, width)

    def whole(source: str, shape: tuple[int, ...], spread: float) -> FloatArray:
        if spread == 0.0:
            return np.zeros(shape)
        return spread * stream(seed, trial, f"as built: {source}").standard_normal(shape)

    wheel_count = len(rig.drivetrain.wheels)
    return AsBuilt(
        mount_angles_rad=by_mount("mount angle", 3, spreads.mount_angle_rad),
        mount_offsets_m=by_mount("mount position", 3, spreads.mount_position_m),
        tag_offsets_m=by_tag("tag position", 3, spreads.tag_position_m),
        tag_turns_rad=by_tag("tag heading", 1, spreads.tag_heading_rad)[:, 0],
        focal_factors=1.0 + by_mount("focal", 1, spreads.focal_fraction)[:, 0],
        wheel_radius_fractions=whole("wheel radius", (wheel_count,), spreads.wheel_radius_fraction),
        clock_offsets_s=by_mount("clock", 1, spreads.clock_offset_s)[:, 0],
        lean_rad=whole("lean", (2,), spreads.lean_rad),
    )
