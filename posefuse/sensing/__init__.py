"""Cameras at corner level: what they can see, when, and what their detectors report."""

from posefuse.sensing.arrays import RobotBoxes, WorldBoxes
from posefuse.sensing.detector_law import DetectorResponse, detector_response
from posefuse.sensing.frames import arrivals, frame_times, mount_phase
from posefuse.sensing.information import corner_information, pose_information
from posefuse.sensing.projection import lens_row, project, undistort, valid_radius
from posefuse.sensing.sightings import sense
from posefuse.sensing.views import TagViews, still_views, tag_views, visible_tags

__all__ = [
    "DetectorResponse",
    "RobotBoxes",
    "TagViews",
    "WorldBoxes",
    "arrivals",
    "corner_information",
    "detector_response",
    "frame_times",
    "lens_row",
    "mount_phase",
    "pose_information",
    "project",
    "sense",
    "still_views",
    "tag_views",
    "undistort",
    "valid_radius",
    "visible_tags",
]
