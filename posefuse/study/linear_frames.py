"""What the linear passes read of a run, as flat arrays: frames, sightings, terms, steps."""

from typing import NamedTuple

import numpy as np

from posefuse.checks import FloatArray, IntArray
from posefuse.sensing.views import TagViews
from posefuse.solving.compiled.frame_sums import OWN_COLUMNS, SIGHTING_CONSTANTS, TAG_COLUMNS
from posefuse.solving.compiled.slopes import COLUMNS

__all__ = ["FrameTerms", "FusedFrames", "LinearSteps", "SeenTags", "StillFrames", "StillRoom"]


class FusedFrames(NamedTuple):
    """The frames that are fused, in the order of their rows, then of their capture.

    Parameters
    ----------
    eye : (n,) ints
        Camera of each.
    first, tag_count : (n,) ints
        Its sightings.
    pose, velocity : (n, 3) arrays
        Of the robot at the true capture: x_m, y_m, heading_rad and their rates in the world.
    tilted : (n, 5) array
        What the filter does not know and no chance decides: knock of the mount (pan, tilt, roll),
        lean of the accelerating chassis (roll, pitch), in rad.
    lateness : (n, 3) array
        True pose at the capture, less that of the row carried on by the frame's offset motion.
    offset, row_heading : (n, 3), (n,) arrays
        Motion from the row to the capture as the filter takes it; true heading at the row.
    pixel_var, extra_var : (n,), (n, 2) arrays
        The filter's variance of a corner (px^2); what it adds to x and y, and to the heading.
    """

    eye: IntArray
    first: IntArray
    tag_count: IntArray
    pose: FloatArray
    velocity: FloatArray
    tilted: FloatArray
    lateness: FloatArray
    offset: FloatArray
    row_heading: FloatArray
    pixel_var: FloatArray
    extra_var: FloatArray


class SeenTags(NamedTuple):
    """The sightings of a run: which tag, and how the detector truly responds to it, (S,) each.

    Parameters
    ----------
    share
        In which share of the frames that this one stands for the tag is found: 1 in a run.
    """

    tag: IntArray
    share: FloatArray
    std_px: FloatArray
    shared_fraction: FloatArray
    persistent_fraction: FloatArray
    inward_px: FloatArray
    narrowing_px: FloatArray
    shift_px: FloatArray

    @classmethod
    def of(cls, views: TagViews, chosen: IntArray | slice, *, share: FloatArray) -> "SeenTags":
        """The chosen ones of all sightings there may be."""
        return cls(
            tag=views.tag[chosen],
            share=share,
            std_px=views.std_px[chosen],
            shared_fraction=views.shared_fraction[chosen],
            persistent_fraction=views.persistent_fraction[chosen],
            inward_px=views.inward_px[chosen],
            narrowing_px=views.narrowing_px[chosen],
            shift_px=views.shift_px[chosen],
        )


class FrameTerms(NamedTuple):
    """What each fused frame does: see ``study.compiled.frame_terms``.

    Parameters
    ----------
    information, white, persistent : (n, 3, 3) arrays
        A, C and the same as C for scatter that persists at rest.
    repeats : (n,) array
        Share of the corners on the pixel they were on in the frame before.
    known : (n, 3) array
        k.
    of_own, of_tag : (n, 3, 13), (S, 3, 7) arrays
        B: by the mount's constants and the chassis' lean; by the constants of each tag seen.
    """

    information: FloatArray
    white: FloatArray
    persistent: FloatArray
    repeats: FloatArray
    known: FloatArray
    of_own: FloatArray
    of_tag: FloatArray

    @classmethod
    def empty(cls, frames: int, sightings: int) -> "FrameTerms":
        """Of so many frames with so many sightings, to be written."""
        return cls(
            information=np.empty((frames, 3, 3)),
            white=np.empty((frames, 3, 3)),
            persistent=np.empty((frames, 3, 3)),
            repeats=np.empty(frames),
            known=np.empty((frames, 3)),
            of_own=np.empty((frames, 3, OWN_COLUMNS)),
            of_tag=np.empty((sightings, 3, TAG_COLUMNS)),
        )


class LinearSteps(NamedTuple):
    """The odometry steps along the true path, in the world.

    Parameters
    ----------
    levers : (rows, 2) array
        -north and east of the step: how a heading error moves the place.
    believed_vars : (rows, 2) array
        What the filter adds to x and y, and to the heading.
    true_covs : (rows, 3, 3) array
        Covariance of the white error.
    slopes : (rows, 3, wheels + 3) array
        By each wheel's radius, slip, gyro bias and scale.
    known : (rows, 3) array
        The slip that the robot's file states and the filter does not know.
    """

    levers: FloatArray
    believed_vars: FloatArray
    true_covs: FloatArray
    slopes: FloatArray
    known: FloatArray


class StillFrames(NamedTuple):
    """What cameras take at rest: one frame of each from each place, n in all.

    Parameters
    ----------
    eye, first, tag_count : (n,) ints
        Camera of each, and its sightings.
    pose : (n, 3) array
        Of the robot: x_m, y_m, heading_rad.
    fused : (n,) array
        How many frames like it reach the filter.
    pixel_var, extra_var : (n,), (n, 2) arrays
        As in ``FusedFrames``.
    """

    eye: IntArray
    first: IntArray
    tag_count: IntArray
    pose: FloatArray
    fused: FloatArray
    pixel_var: FloatArray
    extra_var: FloatArray


class StillRoom(NamedTuple):
    """Room for the sightings from one place, S at most: see ``study.compiled.still_slopes``.

    Parameters
    ----------
    slopes : (S, 8, COLUMNS) array
        Of the corners.
    bias : (S, 8) array
        Of the detector, px.
    constant : (S, 20) ints
        Where the constants of a sighting stand in the row of all.
    lever : (S, 8, 3) array
        Weight of each corner in the solved pose, in units of that pose's believed spread.
    pull : (S, 8, 3) array
        Weight of each corner in the information that the standstill ends with.
    """

    slopes: FloatArray
    bias: FloatArray
    constant: IntArray
    lever: FloatArray
    pull: FloatArray

    @classmethod
    def empty(cls, sightings: int) -> "StillRoom":
        """For so many sightings, to be written."""
        return cls(
            slopes=np.empty((sightings, 8, COLUMNS)),
            bias=np.empty((sightings, 8)),
            constant=np.empty((sightings, SIGHTING_CONSTANTS), dtype=np.int64),
            lever=np.empty((sightings, 8, 3)),
            pull=np.empty((sightings, 8, 3)),
        )
