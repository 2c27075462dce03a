"""All that a filter needs of one run, in the order in which it processes it."""

from dataclasses import dataclass

import numpy as np

from posefuse.checks import IntArray
from posefuse.fusion.estimate import Outcome
from posefuse.fusion.measurements import Measurements
from posefuse.fusion.settings import FilterSettings
from posefuse.fusion.start import Start
from posefuse.fusion.timeline import Timeline, make_timeline
from posefuse.recording.recording import Frames, Odometry

__all__ = ["FilterInput", "make_filter_input"]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FilterInput:
    """One run, ready for either filter.

    Parameters
    ----------
    frame : (n,) ints
        The frames that take part, in the order in which they are fused: by row, then by capture.
    begin, end : (n,) ints
        The measurements of each: from ``begin`` up to but not including ``end``.
    outcome : (measurements,) ints
        What is known of each measurement beforehand; ``Outcome.FUSED`` where it takes part.
    """

    timeline: Timeline
    measurements: Measurements
    start: Start
    gate_probability: float | None
    frame: IntArray
    begin: IntArray
    end: IntArray
    outcome: IntArray


def make_filter_input(
    odometry: Odometry,
    frames: Frames,
    *,
    measurements: Measurements,
    start: Start,
    settings: FilterSettings,
) -> FilterInput:
    """The input of a run: frames in order, those that take no part marked with the reason."""
    timeline = make_timeline(odometry, frames, settings=settings, first_row=start.row)
    of_frame = measurements.frame
    timely, spent = timeline.outcome[of_frame], start.spent[of_frame]
    outcome = np.where(timely == Outcome.FUSED, measurements.outcome, timely)
    outcome = np.where(spent, start.outcome[of_frame], outcome)
    changes = np.flatnonzero(of_frame[1:] != of_frame[:-1]) + 1
    bounds = np.concatenate([[0], changes, [len(of_frame)]])
    begin, end = bounds[:-1], bounds[1:]
    if len(of_frame) == 0:
        begin, end = bounds[:0], bounds[:0]
    takes_part = (outcome[begin] == Outcome.FUSED) & ~spent[begin]
    begin, end = begin[takes_part], end[takes_part]
    frame = of_frame[begin]
    row = timeline.frame_row[frame]
    if (row[1:] < row[:-1]).any():
        order = np.argsort(row, kind="stable")
        frame, begin, end = frame[order], begin[order], end[order]
    return FilterInput(
        timeline=timeline,
        measurements=measurements,
        start=start,
        gate_probability=settings.gate_probability,
        frame=frame,
        begin=begin,
        end=end,
        outcome=outcome,
    )
