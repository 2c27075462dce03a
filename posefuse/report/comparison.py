"""A comparison as one self-contained page."""

import os
from dataclasses import replace
from datetime import datetime
from pathlib import Path

from posefuse.fusion.fuse import fuse
from posefuse.report.camera_strip import instants_of, report_strip
from posefuse.report.camera_views import CameraViews, why_no_images
from posefuse.report.comparison_tables import (
    HITS_HEADERS,
    comparison_table,
    counts_table,
    course_rankings,
    course_table,
    further_table,
)
from posefuse.report.glossary import CAUTION, COMPARISON_WORDS, HIT_WORDS
from posefuse.report.hit_pictures import (
    comparison_room,
    hit_maps,
    hits_picture,
    plans_tolerance_picture,
)
from posefuse.report.hits_section import (
    best_with_hits,
    cost_sentence,
    hits_table,
    moving_sentence,
    moving_table,
    rivals_sentence,
)
from posefuse.report.page import command_text, write_page
from posefuse.report.picture import Picture
from posefuse.report.plan_pictures import (
    box_picture,
    consistency_picture,
    expected_error_picture,
    floor_maps,
    rig_picture,
    tags_picture,
)
from posefuse.report.run_pictures import PicturedTrial, court_picture, nis_picture, timeline_picture
from posefuse.report.shot_room import ShotRoom
from posefuse.report.wording import finding
from posefuse.simulation.scene import SightingSource
from posefuse.study.compare import plan_scene
from posefuse.study.comparison import Comparison, PlanRow

__all__ = ["comparison_pictures", "pictured_trial", "write_comparison_report"]

_STRIP_INSTANTS = 2
_SOURCES = {
    SightingSource.CORNERS: "corners drawn from the detectors' response",
    SightingSource.IMAGES: "corners found by the detector in rendered images",
}


def write_comparison_report(
    comparison: Comparison,
    path: Path,
    *,
    length_unit: str = "cm",
    made_at: datetime | None = None,
) -> None:
    """Writes the page: finding, tables, pictures and what the words mean.

    Parameters
    ----------
    length_unit
        Of errors and rigs: m, cm, mm or in. Places on the floor are in metres, or in inches when
        the errors are.
    made_at
        The date on the page; ``None``: now.
    """
    rankings = course_rankings(comparison)
    room = comparison_room(comparison)
    pictures = comparison_pictures(comparison, rankings, room, length_unit=length_unit)
    has_hits = best_with_hits(comparison) is not None
    write_page(
        path,
        "comparison.html",
        made_at=made_at,
        title=comparison.study.name,
        asked=_asked(comparison),
        command=_command(comparison),
        finding=" ".join(
            filter(None, (finding(comparison, length_unit), cost_sentence(comparison)))
        ),
        warnings=comparison.warnings,
        ranking=comparison_table(comparison, length_unit=length_unit).without(HITS_HEADERS[1]),
        courses=course_table(comparison, rankings, length_unit=length_unit),
        hits=hits_table(comparison, rankings) if has_hits else None,
        shots_finding=_shots_finding(comparison, room, length_unit),
        moving=moving_table(comparison),
        further=further_table(comparison, length_unit=length_unit),
        counts=counts_table(comparison),
        glossary=COMPARISON_WORDS | (HIT_WORDS if has_hits else {}),
        caution=CAUTION,
        no_strip=why_no_images(comparison.study.arena),
        **pictures,
    )


def _shots_finding(comparison: Comparison, room: ShotRoom | None, length_unit: str) -> list[str]:
    """What the errors mean for the shots, a paragraph each."""
    told = (
        rivals_sentence(comparison),
        room.sentence(length_unit) if room is not None else "",
        moving_sentence(comparison),
    )
    return [sentence for sentence in told if sentence]


def _asked(comparison: Comparison) -> str:
    study = comparison.study
    shots = sum(len(course.shots) for course in study.courses)
    plans, courses = len(study.plans), len(study.courses)
    return (
        f"Asked: which of {plans} camera mount plan{'s' * (plans > 1)} tells the distance to the "
        f"goal best in “{study.arena.name}”, over {courses} course{'s' * (courses > 1)} with "
        f"{shots} shots, {comparison.trials} trial{'s' * (comparison.trials > 1)} each, "
        f"seed {comparison.seed}, {_SOURCES[study.sightings]}."
    )


def _command(comparison: Comparison) -> str:
    path = comparison.study.path
    if path is None:
        return ""
    words = (
        *("--trials", str(comparison.trials), "--seed", str(comparison.seed)),
        *("--sightings", comparison.study.sightings.value),
    )
    return command_text("posefuse", "compare", str(path), *words)


def comparison_pictures(
    comparison: Comparison,
    rankings: dict[str, tuple[PlanRow, ...]],
    room: ShotRoom | None = None,
    *,
    length_unit: str = "cm",
) -> dict[str, Picture | list[Picture] | None]:
    """Every picture of a comparison by its name; ``timelines`` are the best and the last plan's.

    Parameters
    ----------
    rankings
        The ranking on each course alone.
    room
        How far off the estimates may be at the shots, where it is known.
    """
    best, last = comparison.ranking[0].plan, comparison.ranking[-1].plan
    course = _hardest_course(rankings, best)
    maps = floor_maps(comparison)
    run = pictured_trial(comparison, best, course)
    runs = [run] if last == best else [run, pictured_trial(comparison, last, course)]
    return {
        "boxes": box_picture(comparison, length_unit=length_unit),
        "rigs": rig_picture(comparison, length_unit=length_unit),
        "expected_error": expected_error_picture(comparison, maps, length_unit=length_unit),
        "tags_seen": tags_picture(comparison, maps, length_unit=length_unit),
        "tolerance": (
            plans_tolerance_picture(comparison, room, length_unit=length_unit)
            if room is not None
            else None
        ),
        "hit_map": hits_picture(comparison, hit_maps(comparison, maps), length_unit=length_unit),
        "strip": _strip(comparison, best, course),
        "court": court_picture(run, length_unit=length_unit),
        "timelines": [
            replace(timeline_picture(each, length_unit=length_unit), name=name)
            for each, name in zip(runs, ("timeline_best", "timeline_last"), strict=False)
        ],
        "consistency": consistency_picture(comparison),
        "nis": nis_picture(run),
    }


def _strip(comparison: Comparison, plan_name: str, course_name: str) -> Picture | None:
    """What the plan's cameras see at a few shots; ``None`` where its tags have no pictures."""
    study = comparison.study
    plan, course = study.plan(plan_name), study.course(course_name)
    if why_no_images(study.arena):
        return None
    return report_strip(
        CameraViews(plan_scene(study, plan, course), seed=comparison.seed, trial=0),
        instants_of(course, most=_STRIP_INSTANTS),
        title=f"{plan.name}, {course.name}, first trial",
        workers=os.cpu_count() or 1,
    )


def _hardest_course(rankings: dict[str, tuple[PlanRow, ...]], plan: str) -> str:
    """The course on which the plan's distance error is largest."""
    rms_m = {
        course: row.distance_rms_m.value
        for course, rows in rankings.items()
        for row in rows
        if row.plan == plan
    }
    return max(rms_m, key=lambda course: rms_m[course])


def pictured_trial(comparison: Comparison, plan_name: str, course_name: str) -> PicturedTrial:
    """The first trial of a plan on a course."""
    study = comparison.study
    plan, course = study.plan(plan_name), study.course(course_name)
    recording = comparison.run(plan_name, course_name).first
    return PicturedTrial(
        title=f"{plan.name}, {course.name}, first trial",
        recording=recording,
        estimate=fuse(recording, rig=plan.rig, arena=study.arena, settings=plan.settings),
        arena=study.arena,
        rig=plan.rig,
        goal=study.goal,
    )
