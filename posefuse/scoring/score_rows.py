"""A scorecard as flat rows, one figure each, under the names of ``scoring.figures``."""

import math
from collections.abc import Iterator
from dataclasses import asdict
from typing import NamedTuple

import numpy as np

from posefuse.scoring.scorecard import ErrorFigures, Scorecard, SpanScores
from posefuse.scoring.shot_hits import ShotHits
from posefuse.scoring.trajectory import TrajectoryScores
from posefuse.statistics.intervals import Interval

__all__ = ["ScoreRow", "score_rows"]


class ScoreRow(NamedTuple):
    """One figure of a scorecard.

    Parameters
    ----------
    span
        ``shots``, ``course`` (every odometry row) or ``run``.
    figure
        Its name in ``scoring.figures``.
    low, high
        Its 95 % interval, of this run alone: see ``scoring.run_intervals``.
    dof
        Degrees of freedom of NEES and NIS: what a consistent filter has on average.
    """

    span: str
    figure: str
    value: float
    low: float = math.nan
    high: float = math.nan
    dof: int | None = None

    @property
    def interval(self) -> Interval:
        """The figure with its interval."""
        return Interval(value=self.value, low=self.low, high=self.high)


def score_rows(card: Scorecard, trajectory: TrajectoryScores | None = None) -> list[ScoreRow]:
    """Every figure of a scorecard that is known, in a fixed order."""
    rows = []
    if card.at_shots is not None:
        rows += list(_span_rows("shots", card.at_shots))
        rows += list(_hit_rows(card.hits))
    rows += list(_span_rows("course", card.whole_course))
    for nis in card.nis:
        rows += [
            _row("run", "nis_mean", nis.mean, nis.interval, nis.dof),
            ScoreRow("run", "nis_count", nis.count, dof=nis.dof),
            ScoreRow("run", "gated_share", nis.gated_share, dof=nis.dof),
        ]
    rows += [ScoreRow("run", f"{name}_count", count) for name, count in card.outcomes.items()]
    rows.append(ScoreRow("run", "dropped_frame_count", card.dropped_frame_count))
    if trajectory is not None:
        rows += [
            ScoreRow("run", name, value)
            for name, value in asdict(trajectory).items()
            if value is not None
        ]
    return rows


def _row(
    span: str, figure: str, value: float, interval: Interval | None, dof: int | None
) -> ScoreRow:
    if interval is None:
        return ScoreRow(span, figure, value, dof=dof)
    return ScoreRow(span, figure, value, interval.low, interval.high, dof)


def _hit_rows(hits: ShotHits | None) -> Iterator[ScoreRow]:
    """Expected hits per 100 shots, and per 100 of those on the move."""
    if hits is None or not np.isfinite(hits.shares).any():
        return
    moving = hits.is_moving
    shares_of = {
        "hits_per_100": hits.shares,
        "perfect_hits_per_100": hits.perfect_shares,
        "moving_led_hits_per_100": hits.shares[moving],
        "moving_unled_hits_per_100": hits.unled_shares[moving],
        "moving_stopped_hits_per_100": hits.stopped_shares[moving],
    }
    for name, shares in shares_of.items():
        if len(shares):
            yield ScoreRow("shots", name, 100.0 * float(np.nanmean(shares)))


def _span_rows(span: str, scores: SpanScores) -> Iterator[ScoreRow]:
    def row(figure: str, value: float, dof: int | None = None) -> ScoreRow:
        return _row(span, figure, value, scores.intervals.get(figure), dof)

    yield row("instant_count", scores.count)
    yield row("scored_count", scores.scored_count)
    for name in ("distance_m", "bearing_rad", "pivot_rad", "heading_rad"):
        figures: ErrorFigures | None = getattr(scores, name)
        if figures is not None:
            stem, _, unit = name.rpartition("_")
            for kind, value in asdict(figures).items():
                yield row(f"{stem}_{kind}_{unit}", value)
    if scores.unreachable_count is not None:
        yield row("unreachable_count", scores.unreachable_count)
    if scores.position_rms_m is not None:
        yield row("position_rms_m", scores.position_rms_m)
    if scores.nees is not None:
        nees = scores.nees
        yield row("nees_mean", nees.mean, nees.dof)
        yield row("nees_inside_share", nees.inside_share)
    yield row("no_update_share", scores.no_update_share)
    if scores.distance_bound_rms_m is not None:
        yield row("distance_bound_rms_m", scores.distance_bound_rms_m)
