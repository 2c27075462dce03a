"""Plans against the best of the others: false calls, coverage, edges."""

import numpy as np
import pytest
from scipy.stats import norm

from posefuse.errors import InputError
from posefuse.statistics import best
from posefuse.statistics.best import hits_against_best, rms_against_best
from simulated_trials import mean_squares

EQUAL = {
    "one constant, correlation 0.3": {"correlation": 0.3},
    "one constant, correlation 0.8": {"correlation": 0.8},
    "one constant above noise": {"white": 0.5},
    "several constants": {"constants": (1.0, 0.5, 0.3, 0.2), "white": 0.05},
    "many errors of like size": {"constants": (1.0,) * 20},
    "unlike plans": {"white": (0.0, 0.0, 0.3, 0.6, 0.9, 0.99)},
}
"""Plans whose true RMS is the same."""
RMS_M = {
    "one better": np.array([0.7, 1.0, 1.0, 1.0, 1.0, 1.0]),
    "graded": np.array([0.5, 0.5, 0.7, 1.0, 1.4, 2.0]),
}


@pytest.fixture
def without_probabilities(monkeypatch):
    """Simulated studies are three times as fast without them."""
    monkeypatch.setattr(best, "best_probabilities", lambda e, _, trials: np.zeros(len(e)))


def share_of_false_calls(studies, compare, is_best):
    """Share of studies in which a plan that is truly best is called worse than another."""
    calls = [[not plan.may_be_best for plan in compare(study)] for study in studies]
    return np.mean(np.array(calls)[:, is_best].any(axis=1))


def share_covered(studies, differences):
    """Share of studies in which the intervals of all plans hold the true differences."""
    return np.mean(
        [
            all(
                p.difference.holds(d) for p, d in zip(rms_against_best(s), differences, strict=True)
            )
            for s in studies
        ]
    )


def true_differences(figures):
    return [figure - np.delete(figures, k).min() for k, figure in enumerate(figures)]


@pytest.mark.usefixtures("without_probabilities")
@pytest.mark.parametrize("trials", [5, 10, 30])
@pytest.mark.parametrize("law", EQUAL)
def test_equal_plans_are_seldom_called_worse(law, trials):
    studies = mean_squares(np.random.default_rng(trials), 120, trials, **EQUAL[law])
    # at 5 % more than 13 of 120 come about once in 200 times
    assert share_of_false_calls(studies, rms_against_best, np.ones(6, dtype=bool)) <= 13 / 120


@pytest.mark.slow
@pytest.mark.usefixtures("without_probabilities")
@pytest.mark.parametrize("trials", [5, 10, 30])
@pytest.mark.parametrize("law", EQUAL)
def test_equal_plans_are_called_worse_in_at_most_5_of_100_studies(law, trials, tell):
    studies = mean_squares(np.random.default_rng(11), 2000, trials, **EQUAL[law])
    share = share_of_false_calls(studies, rms_against_best, np.ones(6, dtype=bool))
    tell(f"six equal plans, {law}, {trials} trials: called worse in {100 * share:.1f} % of studies")
    # 5 % and two standard errors of 2000 studies
    assert share <= 0.06


@pytest.mark.slow
@pytest.mark.usefixtures("without_probabilities")
@pytest.mark.parametrize("trials", [5, 10, 30])
@pytest.mark.parametrize("plans", RMS_M)
def test_intervals_of_unequal_plans_hold_together(plans, trials, tell):
    rms_m = RMS_M[plans]
    squares = mean_squares(
        np.random.default_rng(12), 1000, trials, constants=(1.0, 0.3, 0.1), white=0.1
    )
    squares *= rms_m[:, None] ** 2
    covered = share_covered(squares, true_differences(rms_m))
    worse = np.mean([[not p.may_be_best for p in rms_against_best(s)] for s in squares], axis=0)
    tell(
        f"RMS {rms_m.tolist()}, {trials} trials: intervals hold together in {100 * covered:.1f} %, "
        f"called worse in {(100 * worse).round().astype(int).tolist()} %"
    )
    assert covered > 0.94
    assert worse[rms_m == rms_m.min()].max() < 0.02


@pytest.mark.usefixtures("without_probabilities")
def test_plans_that_are_clearly_worse_are_called_so():
    rms_m = RMS_M["graded"]
    squares = mean_squares(
        np.random.default_rng(13), 60, 10, constants=(1.0, 0.3, 0.1), white=0.1
    ) * (rms_m[:, None] ** 2)
    worse = np.mean([[not p.may_be_best for p in rms_against_best(s)] for s in squares], axis=0)
    assert worse[:2].max() < 0.05
    assert worse[3] > 0.75
    assert worse[4:].min() > 0.95
    assert share_covered(squares, true_differences(rms_m)) > 0.9


def hits_per_100(generator, studies, trials, errors):
    """Hits in 100, (studies, plans, trials); errors of six plans share half of their variance."""
    common = generator.normal(size=(studies, 1, trials))
    own = generator.normal(size=(studies, 6, trials))
    error = np.array(errors)[:, None] * np.sqrt(0.5) * (common + own)
    at_shots = error[..., None] * np.linspace(0.5, 1.5, 8)
    shares = norm.cdf((1.0 - at_shots) / 0.5) - norm.cdf((-1.0 - at_shots) / 0.5)
    return 100.0 * shares.mean(axis=3)


@pytest.mark.usefixtures("without_probabilities")
@pytest.mark.parametrize("trials", [5, 10, 30])
def test_plans_with_equal_hits_are_seldom_called_worse(trials):
    studies = hits_per_100(np.random.default_rng(trials), 100, trials, [0.6] * 6)
    assert share_of_false_calls(studies, hits_against_best, np.ones(6, dtype=bool)) <= 0.11


@pytest.mark.slow
@pytest.mark.usefixtures("without_probabilities")
@pytest.mark.parametrize("trials", [5, 10, 30])
@pytest.mark.parametrize("error", [0.2, 0.6, 1.5])
def test_plans_with_equal_hits_are_called_worse_in_at_most_5_of_100_studies(error, trials, tell):
    studies = hits_per_100(np.random.default_rng(14), 800, trials, [error] * 6)
    share = share_of_false_calls(studies, hits_against_best, np.ones(6, dtype=bool))
    tell(f"equal hits, error {error}, {trials} trials: called worse in {100 * share:.1f} %")
    assert share <= 0.065


@pytest.mark.usefixtures("without_probabilities")
def test_plans_that_hit_less_are_called_worse():
    studies = hits_per_100(np.random.default_rng(15), 40, 30, [0.3, 0.3, 0.6, 0.9, 1.2, 1.5])
    worse = np.mean([[not p.may_be_best for p in hits_against_best(s)] for s in studies], axis=0)
    assert worse[:2].max() <= 0.1
    assert worse[3:].min() > 0.7
    assert worse[4:].min() > 0.95


def test_differences_are_to_the_best_of_the_others():
    squares = np.array([[4.0, 4.2, 3.8], [1.0, 1.1, 0.9], [9.0, 9.3, 8.7]])
    assert [p.difference.value for p in rms_against_best(squares)] == pytest.approx([1, -1, 2])
    hits = [[90.0, 92.0], [80.0, 82.0], [95.0, 93.0]]
    assert [p.difference.value for p in hits_against_best(hits)] == pytest.approx([-3, -13, 3])


def test_intervals_hold_their_values_and_are_zero_free_exactly_where_a_plan_is_out():
    squares = mean_squares(np.random.default_rng(16), 1, 30, white=0.5)[0]
    squares *= RMS_M["graded"][:, None] ** 2
    for plan in rms_against_best(squares):
        assert plan.difference.low <= plan.difference.value <= plan.difference.high
        assert plan.may_be_best is not (plan.difference.low > 0.0)
    for plan in hits_against_best(100.0 - squares):
        assert plan.difference.low <= plan.difference.value <= plan.difference.high
        assert plan.may_be_best is not (plan.difference.high < 0.0)


def test_an_interval_of_an_rms_far_above_the_other_is_that_of_its_own():
    generator = np.random.default_rng(17)
    small = 1e-8 * generator.chisquare(1, size=30)
    large = generator.chisquare(1, size=30)
    difference = rms_against_best([large, small])[0].difference
    error = large.std(ddof=1) / large.mean() / 2.0 / np.sqrt(30)
    # two plans, 30 trials: 2.2; half of the log's error is that of the small plan, which is gone
    critical = np.log(difference.high / difference.value) / error
    assert 2.0 < critical < 2.6
    assert difference.low == pytest.approx(difference.value**2 / difference.high, rel=1e-3)


def test_the_order_of_plans_and_the_unit_of_length_change_nothing():
    squares = mean_squares(np.random.default_rng(18), 1, 12)[0] * RMS_M["graded"][:, None] ** 2
    order = np.array([3, 0, 5, 1, 4, 2])
    metres, other = rms_against_best(squares), rms_against_best(1e4 * squares[order])
    for place, plan in zip(order, other, strict=True):
        mine = metres[place]
        assert plan.may_be_best is mine.may_be_best
        assert plan.best_probability == pytest.approx(mine.best_probability, abs=0.05)
        ends = (mine.difference.value, mine.difference.low, mine.difference.high)
        assert (
            plan.difference.value,
            plan.difference.low,
            plan.difference.high,
        ) == pytest.approx(100.0 * np.array(ends), rel=1e-6)


def test_identical_plans_are_ties_and_share_their_probability():
    plan = np.random.default_rng(19).chisquare(1, size=10)
    same = rms_against_best([plan, plan, plan])
    for each in same:
        difference = each.difference
        assert difference.value == 0.0
        assert [difference.low, difference.high] == pytest.approx([0.0, 0.0], abs=1e-6)
        assert each.may_be_best
        assert each.best_probability == pytest.approx(1.0 / 3.0)
    for each in hits_against_best([100.0 - plan, 100.0 - plan]):
        assert each.may_be_best
        assert each.best_probability == 0.5


def test_a_plan_that_is_always_worse_by_the_same_factor_is_worse():
    plan = np.random.default_rng(20).chisquare(1, size=10)
    first, second = rms_against_best([plan, 1.21 * plan])
    assert first.may_be_best
    assert not second.may_be_best
    assert second.difference.low > 0.0
    assert (first.best_probability, second.best_probability) == (1.0, 0.0)


def test_plans_without_any_error_are_compared_too():
    perfect, other = rms_against_best([[0.0, 0.0, 0.0], [1.0, 2.0, 1.5]])
    assert perfect.may_be_best
    assert not other.may_be_best
    assert other.difference.value == pytest.approx(np.sqrt(1.5))
    nothing = rms_against_best(np.zeros((2, 3)))
    assert [plan.best_probability for plan in nothing] == [0.5, 0.5]


@pytest.mark.parametrize("compare", [rms_against_best, hits_against_best])
def test_a_single_trial_leaves_everything_open(compare):
    for plan in compare([[4.0], [9.0], [1.0]]):
        assert np.isnan([plan.difference.low, plan.difference.high]).all()
        assert plan.may_be_best
        assert np.isnan(plan.best_probability)
    expected = [1.0, -1.0] if compare is rms_against_best else [5.0, -5.0]
    assert [plan.difference.value for plan in compare([[9.0], [4.0]])] == expected


@pytest.mark.parametrize("compare", [rms_against_best, hits_against_best])
def test_a_single_plan_has_no_rival(compare):
    for trials in (1, 5):
        (only,) = compare(np.full((1, trials), 2.0))
        assert only.difference is None
        assert only.may_be_best
        assert only.best_probability == 1.0


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: rms_against_best([1.0, 2.0]), "mean squares: shape"),
        (lambda: rms_against_best([[1.0, np.nan]]), "not finite"),
        (lambda: rms_against_best([[1.0, -1.0]]), "must not be negative"),
        (lambda: rms_against_best(np.empty((2, 0))), "needs 1 plan and 1 trial or more"),
        (lambda: rms_against_best([[1.0, 2.0]], level=0.1), "level: must be between"),
        (lambda: hits_against_best([1.0, 2.0]), "hits: shape"),
        (lambda: hits_against_best(np.empty((0, 2))), "needs 1 plan and 1 trial or more"),
    ],
)
def test_what_cannot_be_is_refused(call, message):
    with pytest.raises(InputError, match=message):
        call()
