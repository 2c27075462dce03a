"""One 1280 x 800 frame rendered with two tags, motion blur and noise, beside OpenCV's detector.

Both on one thread, in processor time. Wanted: rendered in at most 3 times what the detector takes.
"""

import time
from pathlib import Path

import cv2
import numpy as np
import pytest

from posefuse.fieldlayout.file import load_layout
from posefuse.geometry import Pose2, Pose3
from posefuse.randomness import stream_key
from posefuse.robot.file import load_rig
from posefuse.sensing import RobotBoxes, WorldBoxes
from posefuse.sensing.camera_view import camera_view
from posefuse.sensing.detect import detect_tags
from posefuse.sensing.render import CameraMotion, render
from posefuse.sensing.surroundings import Surroundings

pytestmark = [pytest.mark.bench, pytest.mark.benchmark(timer=time.thread_time)]

ROOT = Path(__file__).parents[2]
TURN_RAD_PER_S = 1.0  # 3.3 px of blur in 4 ms


@pytest.fixture
def one_thread():
    before = cv2.getNumThreads()
    cv2.setNumThreads(1)
    yield
    cv2.setNumThreads(before)


@pytest.fixture(scope="module")
def draw():
    layout = load_layout(ROOT / "fieldlayouts" / "orchard_court.toml")
    rig = load_rig(ROOT / "datasets" / "orchard" / "rigs" / "four_corners.toml")
    mount, boxes = rig.mounts[0], WorldBoxes.from_obstacles(layout.obstacles)
    camera, own = mount.camera, RobotBoxes.from_body(rig.body)
    surroundings = Surroundings.from_layout(layout, boxes=boxes, robot_boxes=own)
    instants = np.linspace(-0.5, 0.5, 5) * camera.timing.exposure_s
    turned = -0.3 + TURN_RAD_PER_S * instants
    robot = Pose2(np.column_stack([np.full(5, 6.0), np.full(5, 1.5), turned]))
    motion = CameraMotion(
        instants_s=instants,
        world_from_camera=Pose3.from_plane(robot) @ mount.robot_from_camera,
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
            key=key,
        )

    return frame


def _median_s(work, rounds: int = 20) -> float:
    times = []
    for _ in range(rounds):
        begun = time.thread_time()
        work()
        times.append(time.thread_time() - begun)
    return float(np.median(times))


def test_render_a_frame(benchmark, tell, one_thread, draw) -> None:
    image = draw()
    assert len(detect_tags(image, families=["36h11"]).ids) == 2
    detect_s = _median_s(lambda: detect_tags(image, families=["36h11"]))
    benchmark.pedantic(draw, rounds=20, iterations=1)
    render_s = benchmark.stats.stats.median
    tell(
        f"frame of 1280 x 800 px rendered in {1e3 * render_s:.1f} ms, detected in "
        f"{1e3 * detect_s:.1f} ms: {render_s / detect_s:.1f} times as long"
    )


def test_detect_in_a_frame(benchmark, one_thread, draw) -> None:
    image = draw()
    found = benchmark.pedantic(
        lambda: detect_tags(image, families=["36h11"]), rounds=20, iterations=1
    )
    assert found.ids.tolist() == [2, 10]
