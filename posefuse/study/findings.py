"""All that a page, a file or a notebook says of a comparison, computed once."""

import os
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from posefuse.checks import FloatArray
from posefuse.scoring.figures import OUTCOME_COUNTS
from posefuse.scoring.instants import InstantErrors
from posefuse.statistics.chi_square import chi_square_average_interval
from posefuse.study.camera_views import why_no_images
from posefuse.study.comparison import Comparison, PlanRow, PlanTrials
from posefuse.study.consistency import POSE_DOF, ShotNees, nees_at_shots
from posefuse.study.decision import Decision, decide
from posefuse.study.floor_map import FloorMap, floor_map
from posefuse.study.hit_map import HitMap, hit_map
from posefuse.study.pictured_trial import PicturedTrial
from posefuse.study.ranking import distance_errors_m, rank_plans
from posefuse.study.shot_room import PlaceSpreads, ShotRoom, shot_room, spreads_at_places
from posefuse.study.shown_trial import shown_strip, shown_trial
from posefuse.study.strip import Strip
from posefuse.study.study import Study
from posefuse.study.whole_course import whole_course_rms_m

__all__ = ["MOST_PLANS", "Findings", "findings_of", "rank_on_courses"]

MOST_PLANS = 12
"""Plans drawn side by side; of more, the best of the ranking."""
_MAP_CELL_M, _MOST_MAP_CELLS = 0.3, 60
_SPANS_PER_100 = (1.0, 2.0, 5.0, 10.0, 20.0, 50.0)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Findings:
    """What a comparison found, as plain data.

    Parameters
    ----------
    decision
        Which plan to choose, and what goes with it.
    whole_rms_m, whole_course_rms_m
        RMS of the distance error over every row of the courses, not at the shots alone: by plan,
        and by plan and course.
    course_rankings
        The ranking on each course alone, by the course's name.
    counts
        By plan and course: how many measurements met each outcome, and how many frames were lost,
        under the names of ``scoring.figures``.
    shown_plans
        The plans whose maps, errors and shots are worked out, best first.
    errors_m, course_errors_m
        The distance errors of ``ranking.distance_errors_m``, by plan, and by plan and course.
    nees_at_shots
        By plan; empty without shots.
    nees_region
        Where 95 % of the averages over the trials lie that a consistent filter has at one shot.
    floor_maps
        Of each plan that finds a place to stand. The cells are 0.3 m wide, wider where more than
        60 of them would lie along a wall.
    hit_maps
        Of those whose hits are known.
    hit_base
        The plan chosen, or the first with a map; empty where there is none.
    hit_differences_per_100
        Of each other plan (rows, columns): its hits in 100 minus those of ``hit_base``.
    lift_travel_m
        By box of the robot: how far a course raises it.
    room
        How large errors may be at the shots, with the shooter of the best plan whose hits are
        known; ``None`` where that cannot be worked out.
    spreads
        By plan: how large they are at the places shot from; empty without ``room``.
    trials
        The first trial of the best plan and of the last one, on the course that is hardest for the
        best; a lone plan's alone.
    strip
        What the cameras of the best plan see in that trial; ``None`` where ``no_images`` says why.
    """

    comparison: Comparison
    decision: Decision
    whole_rms_m: Mapping[str, float]
    whole_course_rms_m: Mapping[tuple[str, str], float]
    course_rankings: Mapping[str, tuple[PlanRow, ...]]
    counts: Mapping[tuple[str, str], Mapping[str, int]]
    shown_plans: tuple[str, ...]
    errors_m: Mapping[str, FloatArray]
    course_errors_m: Mapping[tuple[str, str], FloatArray]
    nees_at_shots: Mapping[str, ShotNees]
    nees_region: tuple[float, float]
    floor_maps: Mapping[str, FloorMap]
    hit_maps: Mapping[str, HitMap]
    hit_base: str
    hit_differences_per_100: Mapping[str, FloatArray]
    lift_travel_m: Mapping[str, float]
    room: ShotRoom | None
    spreads: Mapping[str, PlaceSpreads]
    trials: tuple[PicturedTrial, ...]
    strip: Strip | None
    no_images: str

    def counts_of(self, plan: str) -> dict[str, int]:
        """The counts of a plan over all courses."""
        of_plan = [counts for (name, _), counts in self.counts.items() if name == plan]
        return {name: sum(counts[name] for counts in of_plan) for name in of_plan[0]}

    @property
    def hit_difference_span_per_100(self) -> float:
        """A round number of hits in 100 that at most one cell in 50 differs by more; 1 or more."""
        every = [of_plan.ravel() for of_plan in self.hit_differences_per_100.values()]
        sizes = np.abs(np.concatenate([*every, np.zeros(1)]))
        wanted = float(np.nanquantile(sizes, 0.98))
        return next((span for span in _SPANS_PER_100 if span >= wanted), 100.0)

    @property
    def consistent_share(self) -> float:
        """Share of the plans' shots whose averaged NEES lies in ``nees_region``."""
        every = np.concatenate([*(of.at_shots for of in self.nees_at_shots.values()), np.zeros(0)])
        every = every[np.isfinite(every)]
        low, high = self.nees_region
        return float(np.mean((every >= low) & (every <= high))) if every.size else float("nan")


def findings_of(comparison: Comparison, *, workers: int | None = None) -> Findings:
    """The findings; most of the time goes into maps, images and other noise tried.

    Parameters
    ----------
    workers
        Threads; as many as there are processors when not given.
    """
    workers = workers or os.cpu_count() or 1
    study = comparison.study
    rankings = rank_on_courses(comparison)
    shown = tuple(row.plan for row in comparison.ranking[:MOST_PLANS])
    best, last = comparison.ranking[0], comparison.ranking[-1]
    hardest = _hardest_course(rankings, best.plan)
    floors = _floor_maps(comparison, shown, workers)
    room = _room(comparison)
    no_images = why_no_images(study.arena)
    decision = decide(comparison, workers=workers)
    hit_maps = _hit_maps(comparison, floors, workers)
    hit_base = decision.plan if decision.plan in hit_maps else next(iter(hit_maps), "")
    return Findings(
        comparison=comparison,
        decision=decision,
        whole_rms_m={
            plan.name: whole_course_rms_m(_of_plan(comparison, plan.name)) for plan in study.plans
        },
        whole_course_rms_m={
            (t.plan, t.course): whole_course_rms_m([t]) for t in comparison.plan_trials
        },
        course_rankings=rankings,
        counts={(t.plan, t.course): _counts(t) for t in comparison.plan_trials},
        shown_plans=shown,
        errors_m={plan: distance_errors_m(_of_plan(comparison, plan)) for plan in shown},
        course_errors_m={
            (t.plan, t.course): distance_errors_m([t])
            for t in comparison.plan_trials
            if t.plan in shown
        },
        nees_at_shots=(
            {plan: nees_at_shots(_of_plan(comparison, plan)) for plan in shown}
            if comparison.is_at_shots
            else {}
        ),
        nees_region=chi_square_average_interval(POSE_DOF, comparison.trials),
        floor_maps=floors,
        hit_maps=hit_maps,
        hit_base=hit_base,
        hit_differences_per_100={
            plan: 100.0 * (one.shares - hit_maps[hit_base].shares)
            for plan, one in hit_maps.items()
            if plan != hit_base
        },
        lift_travel_m=_lift_travel_m(study),
        room=room,
        spreads={} if room is None else _spreads(comparison, shown, room),
        trials=tuple(
            shown_trial(comparison, plan, hardest) for plan in dict.fromkeys((best.plan, last.plan))
        ),
        strip=None if no_images else shown_strip(comparison, best.plan, hardest, workers),
        no_images=no_images,
    )


def rank_on_courses(comparison: Comparison) -> dict[str, tuple[PlanRow, ...]]:
    """The ranking on each course alone, by the course's name."""
    return {
        course.name: rank_plans(
            comparison.study,
            [trials for trials in comparison.plan_trials if trials.course == course.name],
        )
        for course in comparison.study.courses
    }


def _of_plan(comparison: Comparison, plan: str) -> list[PlanTrials]:
    return [trials for trials in comparison.plan_trials if trials.plan == plan]


def _hardest_course(rankings: Mapping[str, Sequence[PlanRow]], plan: str) -> str:
    """The course on which the plan's distance error is largest."""
    rms_m = {
        course: row.distance_rms_m.value
        for course, rows in rankings.items()
        for row in rows
        if row.plan == plan
    }
    return max(rms_m, key=lambda course: rms_m[course])


def _counts(trials: PlanTrials) -> dict[str, int]:
    counts = {
        name: sum(card.outcomes.get(name.removesuffix("_count"), 0) for card in trials.cards)
        for name in OUTCOME_COUNTS
    }
    lost = sum(card.dropped_frame_count for card in trials.cards)
    return {**counts, "dropped_frame_count": lost}


def _floor_maps(comparison: Comparison, plans: Sequence[str], workers: int) -> dict[str, FloorMap]:
    study = comparison.study
    widest_m = max(study.arena.length_m, study.arena.width_m)
    cell_m = max(_MAP_CELL_M, widest_m / _MOST_MAP_CELLS)
    maps = {
        plan: floor_map(
            arena=study.arena,
            rig=study.plan(plan).rig,
            goal=study.goal,
            settings=study.plan(plan).settings,
            spreads=study.spreads,
            cell_m=cell_m,
            workers=workers,
        )
        for plan in plans
    }
    return {plan: made for plan, made in maps.items() if made.is_standable.any()}


def _hit_maps(
    comparison: Comparison, floors: Mapping[str, FloorMap], workers: int
) -> dict[str, HitMap]:
    with_hits = {row.plan for row in comparison.ranking if row.hits is not None}
    study = comparison.study
    maps = {}
    for plan, floor in floors.items():
        shooter = study.plan(plan).rig.body.shooter
        if plan in with_hits and shooter is not None:
            maps[plan] = hit_map(floor, shooter=shooter, workers=workers)
    return maps


def _lift_travel_m(study: Study) -> dict[str, float]:
    raised = [(lift.box, float(lift.raise_m.max())) for c in study.courses for lift in c.lifts]
    return {box: max(m for name, m in raised if name == box) for box, _ in raised}


def _room(comparison: Comparison) -> ShotRoom | None:
    row, study = comparison.best_with_hits, comparison.study
    shooter = None if row is None else study.plan(row.plan).rig.body.shooter
    if row is None or shooter is None:
        return None
    shots = _shots(comparison, row.plan, trials=1)  # the places are the same in every trial
    return shot_room(shots, arena=study.arena, goal=study.goal, shooter=shooter)


def _spreads(
    comparison: Comparison, plans: Sequence[str], room: ShotRoom
) -> dict[str, PlaceSpreads]:
    arena = comparison.study.arena
    return {
        plan: spreads_at_places(_shots(comparison, plan), arena=arena, goal=room.goal)
        for plan in plans
    }


def _shots(comparison: Comparison, plan: str, *, trials: int | None = None) -> list[InstantErrors]:
    return [
        card.shots
        for of_course in _of_plan(comparison, plan)
        for card in of_course.cards[:trials]
        if card.shots is not None
    ]
