"""What the cameras of one trial see, what the detector finds in it and what it misses."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from posefuse.arena.arena import Arena
from posefuse.checks import FloatArray, IntArray
from posefuse.errors import InputError
from posefuse.rendering.tag_pictures import tag_cells
from posefuse.simulation.built import build
from posefuse.simulation.images import TrialImages
from posefuse.simulation.scene import Scene
from posefuse.simulation.simulate import true_corners

__all__ = ["CameraViews", "SeenFrame", "shrunk_image", "why_no_images"]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SeenFrame:
    """One frame of one camera.

    Parameters
    ----------
    image, step_px
        Grey levels, each the mean over a square of so many pixels a side.
    found_corners_px, missed_corners_px : (n, 4, 2) arrays
        As the detector has them; where they truly are.
    """

    captured_at_s: float
    image: NDArray[np.uint8]
    step_px: int
    found_ids: IntArray
    found_corners_px: FloatArray
    missed_ids: IntArray
    missed_corners_px: FloatArray


class CameraViews:
    """The frames of one trial, rendered and searched when they are asked for."""

    def __init__(self, scene: Scene, *, seed: int, trial: int) -> None:
        self._built = build(scene, seed=seed, trial=trial)
        self._images = TrialImages(self._built)
        self._true_corners = true_corners(self._built)

    @property
    def scene(self) -> Scene:
        """The scene whose frames they are."""
        return self._built.scene

    @property
    def seed(self) -> int:
        """Of the trial's random draws."""
        return self._built.seed

    @property
    def trial(self) -> int:
        """Number of the trial."""
        return self._built.trial

    def nearest_frames(self, at_s: float) -> list[int | None]:
        """Of each mount, the frame captured nearest to an instant; ``None`` where it has none."""
        return [
            int(frames[np.argmin(np.abs(self._captured_at_s(frames) - at_s))])
            if len(frames)
            else None
            for frames in self.scene.frames_of_mount
        ]

    def newest_frames(self, at_s: float) -> list[int | None]:
        """Of each mount, the last frame captured until an instant; ``None`` where it has none."""
        newest: list[int | None] = []
        for frames in self.scene.frames_of_mount:
            count = int(np.searchsorted(self._captured_at_s(frames), at_s, side="right"))
            newest.append(int(frames[count - 1]) if count else None)
        return newest

    def seen(self, frame: int, *, least_wide_px: int) -> SeenFrame:
        """The frame; the detector sees it whole, the image kept is at least so wide."""
        whole = self._images.image(frame)
        found = self._images.detect(frame, whole)
        image, step = shrunk_image(whole, least_wide_px)
        ids, corners = self._in_view(frame)
        is_missed = ~np.isin(ids, found.ids)
        return SeenFrame(
            captured_at_s=float(self.scene.views.captured_at_s[frame]),
            image=image,
            step_px=step,
            found_ids=found.ids,
            found_corners_px=found.corners_px,
            missed_ids=ids[is_missed],
            missed_corners_px=corners[is_missed],
        )

    def _captured_at_s(self, frames: IntArray) -> FloatArray:
        return np.asarray(self.scene.views.captured_at_s[frames])

    def _in_view(self, frame: int) -> tuple[IntArray, FloatArray]:
        """Ids and true corners of the tags that lie whole in the frame and are not hidden."""
        views, (corners, is_whole) = self.scene.views, self._true_corners
        first, last = self.scene.first_sighting[frame : frame + 2]
        own = first + np.flatnonzero(is_whole[first:last])
        return views.tags.ids[views.tag[own]], corners[own]


def why_no_images(arena: Arena) -> str:
    """Why no image of the arena can be rendered: a tag that OpenCV does not carry; else empty."""
    try:
        for tag in arena.tags:
            tag_cells(tag.family, tag.id)
    except InputError as error:
        return str(error)
    return ""


def shrunk_image(image: NDArray[np.uint8], least_wide_px: int) -> tuple[NDArray[np.uint8], int]:
    """The image as means over squares of pixels, at least so wide, and the side of the squares.

    Rows and columns that fill no square are left out. Means hold less noise: such an image takes
    far less room than its share of pixels.
    """
    step = max(1, image.shape[1] // least_wide_px)
    height, width = (length // step for length in image.shape)
    squares = image[: height * step, : width * step].reshape(height, step, width, step)
    return np.rint(squares.mean(axis=(1, 3))).astype(np.uint8), step
