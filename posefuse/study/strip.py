"""What the cameras of a rig see at some instants."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from posefuse.motion.course import Course
from posefuse.robot.rig import Rig
from posefuse.study.camera_views import CameraViews, SeenFrame
from posefuse.threads import side_by_side

__all__ = ["Instant", "Strip", "instants_of", "look"]

_MOST_INSTANTS = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class Instant:
    """When to look, and what happens then."""

    at_s: float
    what: str = ""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Strip:
    """What the cameras of a rig saw at some instants.

    Parameters
    ----------
    title
        Whose run it is.
    frames
        Of each instant the frame of each mount; ``None`` where a mount has none.
    """

    title: str
    rig: Rig
    instants: tuple[Instant, ...]
    frames: tuple[tuple[SeenFrame | None, ...], ...]

    def seen(self) -> list[SeenFrame]:
        """All frames, the missing ones left out."""
        return [frame for row in self.frames for frame in row if frame is not None]

    @property
    def found_count(self) -> int:
        """How many tags the detector found, over all frames."""
        return sum(len(frame.found_ids) for frame in self.seen())

    @property
    def missed_count(self) -> int:
        """How many tags in view it did not find."""
        return sum(len(frame.missed_ids) for frame in self.seen())


def instants_of(course: Course, *, most: int = _MOST_INSTANTS) -> tuple[Instant, ...]:
    """The first few shots of a course; without any, instants spread evenly over it."""
    if course.shots:
        return tuple(
            Instant(at_s=shot.at_s, what=f"shot at {shot.goal}") for shot in course.shots[:most]
        )
    start_s, end_s = course.path.start_s, course.path.end_s
    spread = np.linspace(start_s, end_s, most + 2)[1:-1]
    return tuple(Instant(at_s=float(at_s)) for at_s in spread)


def look(
    views: CameraViews,
    instants: Sequence[Instant],
    *,
    title: str,
    workers: int,
    least_wide_px: int = 640,
) -> Strip:
    """The frames captured nearest to some instants, rendered and searched side by side.

    Parameters
    ----------
    workers
        Threads.
    least_wide_px
        The images kept may be smaller than the cameras', but are at least so wide.
    """
    nearest = [views.nearest_frames(instant.at_s) for instant in instants]
    wanted = sorted({frame for row in nearest for frame in row if frame is not None})
    with side_by_side(workers) as pool:
        seen = pool.map(lambda frame: views.seen(frame, least_wide_px=least_wide_px), wanted)
        of_frame = dict(zip(wanted, seen, strict=True))
    return Strip(
        title=title,
        rig=views.scene.rig,
        instants=tuple(instants),
        frames=tuple(
            tuple(None if frame is None else of_frame[frame] for frame in row) for row in nearest
        ),
    )
