"""The Recording: what a run leaves behind, simulated or real, and its folder on disk."""

from posefuse.recording.recording import (
    Frames,
    Odometry,
    Recording,
    Shots,
    SightingKind,
    Sightings,
    StartPose,
    Truth,
)

__all__ = [
    "Frames",
    "Odometry",
    "Recording",
    "Shots",
    "SightingKind",
    "Sightings",
    "StartPose",
    "Truth",
]
