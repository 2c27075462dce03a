"""One 1280 x 800 frame rendered with two tags, motion blur and noise, beside OpenCV's detector.

Both on one thread, in processor time, round about. Wanted: rendered in at most 3 times what the
detector takes.
"""

import time
from pathlib import Path

import cv2
import numpy as np
import pytest

from posefuse.arena.load import load_arena
from posefuse.geometry.plane import PlanePose
from posefuse.geometry.space import SpacePose
from posefuse.randomness.streams import stream_key
from posefuse.rendering.camera_view import camera_view
from posefuse.rendering.detect import detect_tags
from posefuse.rendering.render import CameraMotion, FrameNoise, render
from posefuse.rendering.surroundings import Surroundings
from posefuse.robot.load import load_rig
from posefuse.sensing.arrays import RobotBoxes, WorldBoxes

pytestmark = [pytest.mark.bench, pytest.mark.benchmark(timer=time.thread_time)]

ROOT = Path(__file__).parents[2]
TURN_RAD_PER_S = 1.0  # 3.3 px of blur in 4 ms
PLACES = {"far": (6.0, 1.5, -0.3, [2, 10]), "near": (7.39, 1.43, -0.67, [2, 10])}


@pytest.fixture
def one_thread():
    before = cv2.getNumThreads()
    cv2.setNumThreads(1)
    yield
    cv2.setNumThreads(before)


@pytest.fixture(params=PLACES)
def sight(request):
    """A function that renders the frame, the ids of its two tags, and what to call it."""
    arena = load_arena(ROOT / "fieldlayouts" / "orchard_court.toml")
    rig = load_rig(ROOT / "datasets" / "orchard" / "rigs" / "four_corners.toml")
    mount, boxes = rig.mounts[0], WorldBoxes.from_obstacles(arena.obstacles)
    camera, own = mount.camera, RobotBoxes.from_body(rig.body)
    surroundings = Surroundings.from_arena(arena, boxes=boxes, robot_boxes=own)
    instants = np.linspace(-0.5, 0.5, 5) * camera.timing.exposure_s
    x, y, heading, ids = PLACES[request.param]
    turned = heading + TURN_RAD_PER_S * instants
    robot = PlanePose(np.column_stack([np.full(5, x), np.full(5, y), turned]))
    motion = CameraMotion(
        instants_s=instants,
        world_from_camera=SpacePose.from_plane(robot) @ mount.robot_from_camera,
        robot_from_camera=mount.robot_from_camera,
    )
    view, key = camera_view(camera.lens, camera.sensor), stream_key(1, 0, "image noise")

    def frame() -> np.ndarray:
        return render(
            surroundings,
            view=view,
            motion=motion,
            exposure_s=camera.timing.exposure_s,
            quality=camera.image,
            noise=FrameNoise(key=key),
        )

    return frame, ids, request.param


def test_render_beside_detect(benchmark, tell, one_thread, sight) -> None:
    draw, ids, name = sight
    image = draw()
    found = detect_tags(image, families=["36h11"])
    assert found.ids.tolist() == ids
    edges_px = np.linalg.norm(found.corners_px[:, 1] - found.corners_px[:, 0], axis=-1)
    detect_s = []

    def detect() -> None:
        begun = time.thread_time()
        detect_tags(image, families=["36h11"])
        detect_s.append(time.thread_time() - begun)

    benchmark.pedantic(draw, setup=detect, rounds=30, iterations=1)
    render_s, detect_s = benchmark.stats.stats.median, float(np.median(detect_s))
    tell(
        f"tags {name}, {edges_px.min():.0f} and {edges_px.max():.0f} px, in 1280 x 800 px: "
        f"render {1e3 * render_s:.1f} ms, detect {1e3 * detect_s:.1f} ms, "
        f"ratio {render_s / detect_s:.2f}"
    )
