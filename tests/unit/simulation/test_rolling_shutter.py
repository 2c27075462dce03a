"""Corners of a rolling shutter against the true path at the very instant each row is read."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from posefuse.geometry.space import SpacePose
from posefuse.motion.lean import lean_angles_rad
from posefuse.sensing.projection import project
from posefuse.simulation.built import BuiltScene, build
from posefuse.simulation.scene import prepare_scene
from posefuse.simulation.simulate import true_corners
from posefuse.study.load import load_study

STUDY = load_study(Path(__file__).parents[3] / "datasets" / "orchard" / "study.toml")
ROW_TIME_S = 3e-5
SIGHTINGS = 60


def pixel(built: BuiltScene, sighting: int, corner: int, late_s: float) -> np.ndarray:
    """Where a corner is so long after the capture, by the path itself."""
    scene = built.scene
    frame = scene.views.frame[sighting]
    mount = scene.rig.mounts[scene.views.camera[frame]]
    at_s, path = np.array([scene.views.captured_at_s[frame] + late_s]), scene.course.path
    pose = path.poses(at_s)
    lean = lean_angles_rad(
        path.accelerations(at_s)[:, :2],
        heading_rad=pose.heading_rad,
        lean_rad_per_m_per_s2=scene.rig.body.lean_rad_per_m_per_s2,
    )
    level = SpacePose(SpacePose.from_plane(pose, lean_rad=lean).matrix[0])
    camera_from_world = built.world_from_camera(int(frame), level).inverse()
    tag = built.tag_corners_in_world_m[scene.views.tag[sighting]]
    return project(camera_from_world.transform(tag[corner]), mount.camera.lens)


@pytest.mark.parametrize(
    ("lean_share", "most_px", "rms_px"), [(0.0, 0.02, 0.005), (1.0, 1.5, 0.25)]
)
def test_corners_are_where_the_path_has_them_as_their_row_is_read(
    lean_share: float, most_px: float, rms_px: float
) -> None:
    """On the fast course; what is left with a lean is how it changes while the rows are read."""
    rig = STUDY.plan("four corners").rig
    mounts = [
        replace(m, camera=replace(m.camera, sensor=replace(m.camera.sensor, row_time_s=ROW_TIME_S)))
        for m in rig.mounts
    ]
    lean = lean_share * rig.body.lean_rad_per_m_per_s2
    rig = replace(rig, mounts=tuple(mounts), body=replace(rig.body, lean_rad_per_m_per_s2=lean))
    course = STUDY.course("fast spins")
    built = build(prepare_scene(arena=STUDY.arena, rig=rig, course=course), seed=1, trial=0)
    corners, is_whole = true_corners(built)
    whole = np.flatnonzero(is_whole)
    off, moved = [], []
    for sighting in whole[100 :: len(whole) // SIGHTINGS]:
        for corner in range(4):
            late_s = 0.0
            for _ in range(20):
                read = pixel(built, sighting, corner, late_s)
                late_s = ROW_TIME_S * (read[1] - 399.5)
            off.append(np.abs(corners[sighting, corner] - read).max())
            moved.append(np.abs(read - pixel(built, sighting, corner, 0.0)).max())
    assert max(moved) > 20.0
    assert max(off) < most_px
    assert np.sqrt(np.mean(np.square(off))) < rms_px
