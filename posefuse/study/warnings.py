"""What a user should know before believing a ranking."""

from collections.abc import Sequence

from posefuse.study.comparison import PlanTrials

__all__ = ["warnings_of"]

_FEW_TRIALS = 10
_NEVER = 0.005
"""Probability of a hit below which a shot is as good as lost."""


def warnings_of(plan_trials: Sequence[PlanTrials]) -> tuple[str, ...]:
    """One line for each thing that makes the figures mean less than they seem to."""
    warnings = [
        f"plan {trials.plan!r} never sees a tag on course {trials.course!r}: "
        "its estimate is wheel odometry alone"
        for trials in plan_trials
        if not any(sum(card.outcomes.values()) for card in trials.cards)
    ]
    if not any(trials.has_shots for trials in plan_trials):
        warnings.append("no course marks a shot: the ranking is over the whole courses")
    warnings += _out_of_reach(plan_trials)
    count = len(plan_trials[0].cards)
    if count < _FEW_TRIALS:
        warnings.append(
            f"only {count} trial{'s' * (count > 1)}: the intervals are rough; "
            f"to tell plans apart takes {_FEW_TRIALS} or more"
        )
    return tuple(warnings)


def _out_of_reach(plan_trials: Sequence[PlanTrials]) -> list[str]:
    """Shots that only another shooter or place can help."""
    lost: dict[str, tuple[int, int]] = {}
    for trials in plan_trials:
        hits = trials.cards[0].hits
        if hits is not None:
            never, whole = lost.get(trials.plan, (0, 0))
            never += int((hits.perfect_shares < _NEVER).sum())
            lost[trials.plan] = (never, whole + len(hits.perfect_shares))
    cannot = "cannot go in, even with a perfect estimate: the goal is out of the shooter's reach"
    if len(set(lost.values())) == 1:
        lost = {"": next(iter(lost.values()))}
    return [
        f"{f'plan {plan!r}: ' if plan else ''}{never} of {whole} shots {cannot}"
        for plan, (never, whole) in lost.items()
        if never
    ]
