"""Filters and their settings: a recording to the pose at every instant, as it stood then."""

from posefuse.fusion.estimate import Estimate, Innovations, Outcome
from posefuse.fusion.settings import (
    Ambiguous,
    FilterSettings,
    LateFrames,
    Measurement,
    NoiseKind,
    NoiseModel,
    ProcessNoise,
    StartFrom,
)

__all__ = [
    "Ambiguous",
    "Estimate",
    "FilterSettings",
    "Innovations",
    "LateFrames",
    "Measurement",
    "NoiseKind",
    "NoiseModel",
    "Outcome",
    "ProcessNoise",
    "StartFrom",
]
