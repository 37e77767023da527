"""What is held, against another library's Beta; a learner drawn by the model; the store."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from scipy import stats

from moonless.errors import InputError
from moonless.practice.ladder import LADDER, STEPS
from moonless.practice.progress import FADE, Answered, held, interval, next_seed, next_step, opened
from moonless.practice.ready import LEVELS, readiness
from moonless.practice.store import keep_answers, read_answers

DAY_NS = 86_400 * 10**9
START_NS = 1_930_000_000 * 10**9


def answered(step: str, number: int, points: float, time_ns: int) -> Answered:
    return Answered(time_ns, step, number, "test", points, points, 1.0 - points, False, 1.0)


@pytest.mark.parametrize(("for_", "against"), [(0.0, 0.0), (3.0, 1.0), (18.5, 0.5), (0.3, 9.0)])
def test_the_interval_is_the_beta_posteriors_own(for_: float, against: float) -> None:
    # Against scipy.stats, which integrates by another road than the inverse incomplete beta function used.
    beta = stats.beta(1.0 + for_, 1.0 + against)
    assert interval(for_, against) == pytest.approx((beta.mean(), beta.ppf(0.05), beta.ppf(0.95)))


def test_knowing_nothing_is_said_as_nothing() -> None:
    now = held([], START_NS)["rings"]
    # A flat posterior: its middle 90 % is 5 % to 95 %.
    assert (now.low, now.high) == pytest.approx((0.05, 0.95)) and now.word == "new" and now.due is None
    assert not any(one.is_ready for one in readiness(held([], START_NS)))


def test_the_interval_holds_the_truth_nine_times_in_ten() -> None:
    """A steady answerer of known skill: how often does the interval hold it?  Fading makes it wider, never bolder."""
    chance = np.random.default_rng(5)
    inside = 0
    for trial in range(300):
        skill = float(chance.uniform(0.05, 0.95))
        given = [answered("rings", k, float(chance.uniform() < skill), START_NS + k * 10**9) for k in range(15)]
        now = held(given, START_NS + 10**12)["rings"]
        inside += now.low <= skill <= now.high
        assert trial < 300
    # 270 wanted, by a flat prior; three standard deviations of a binomial either way, and fading may cost a little.
    assert 245 <= inside <= 290


def test_old_failures_fade() -> None:
    bad = [answered("rings", k, 0.0, START_NS + k * 10**9) for k in range(30)]
    good = [answered("rings", k, 1.0, START_NS + k * 10**9) for k in range(30, 60)]
    assert held([*bad, *good], START_NS + DAY_NS)["rings"].low > 0.6
    assert FADE**30 < 0.25


def learner(seed: int, days: int = 60, per_day: int = 12) -> tuple[list[Answered], list[dict[str, float]]]:
    """Return the answers of a learner drawn by a model of learning, and his true skill in each step, day by day.

    Model: each exercise done takes a tenth of what is still wanting; each day without the step loses two parts in a
    hundred of what was learned.  Own, and nothing the scheduler knows of.
    """
    chance = np.random.default_rng(seed)
    skill = {step.key: 0.35 for step in LADDER}
    given: list[Answered] = []
    days_skill = []
    for day in range(days):
        done = set()
        for number in range(per_day):
            now = START_NS + day * DAY_NS + number * 60 * 10**9
            step = next_step(given, now)
            right = float(chance.uniform() < skill[step])
            given.append(answered(step, next_seed(given, step), right, now))
            skill[step] += 0.1 * (0.97 - skill[step])
            done.add(step)
        for key in skill:
            if key not in done:
                skill[key] -= 0.02 * (skill[key] - 0.35)
        days_skill.append(dict(skill))
    return given, days_skill


@pytest.mark.slow
def test_a_learner_improves_and_is_scheduled_sensibly() -> None:
    given, skill = learner(1)
    # From the bottom of the ladder upwards, each step begun after the ones before it.
    begun = [next(k for k, one in enumerate(given) if one.step == step.key) for step in LADDER if any(
        one.step == step.key for one in given)]  # fmt: skip
    assert begun == sorted(begun) and len(begun) == len(LADDER)
    # He is better at the end of it than at its beginning, in every step.
    assert min(skill[-1].values()) > 0.6 and max(skill[0].values()) < 0.8
    end = START_NS + 60 * DAY_NS
    state = held(given, end)
    assert np.mean([one.mean for one in state.values()]) > 0.75
    # What goes well is asked for ever more rarely: of a step held, days lie between; within a day none is asked thrice
    # running.
    steps = [one.step for one in given]
    several = steps[steps.index("boat_or_beacon") :]
    assert not any(
        len({a, b, c}) == 1 and k % 12 < 10
        for k, (a, b, c) in enumerate(
            zip(several, several[1:], several[2:], strict=False), steps.index("boat_or_beacon")
        )
    )
    first = [one.time_ns for one in given if one.step == "rings"]
    gaps = np.diff(first) / DAY_NS
    assert gaps[-5:].mean() > 3.0 * gaps[:5].mean()


def test_what_fades_comes_before_what_is_new() -> None:
    good = [answered("rings", k, 1.0, START_NS + k * DAY_NS // 4) for k in range(12)]
    later = held(good, START_NS + 400 * DAY_NS)
    assert later["rings"].is_due and later["rings"].word == "fading"
    assert next_step(good, START_NS + 400 * DAY_NS) == "rings"
    assert next_step(good[:-1], good[-2].time_ns + 10**9) == "boat_or_beacon"
    # What was held and is due again makes nobody ready.
    everything = [answered(key, k, 1.0, START_NS + k * 10**9) for key in STEPS for k in range(20)]
    ready = readiness(held(everything, START_NS + 10**12))
    assert all(one.is_ready for one in ready) and len(ready) == len(LEVELS)
    stale = readiness(held(everything, START_NS + 3_000 * DAY_NS))
    assert not any(one.is_ready for one in stale) and stale[0].wants


def test_the_next_step_opens_by_the_one_before() -> None:
    assert opened(held([], START_NS)) == ["rings"]
    bad = [answered("rings", k, 0.0, START_NS + k) for k in range(10)]
    assert opened(held(bad, START_NS + 10**9)) == ["rings"]
    assert next_step(bad, START_NS + 10**9) == "rings"


def test_the_record_comes_back_as_it_was_kept(tmp_path: Path) -> None:
    path = tmp_path / "a" / "practice.json"
    given = [answered("rings", k, 0.25 * k, START_NS + k) for k in range(4)]
    keep_answers(path, given)
    assert read_answers(path) == tuple(given)
    assert read_answers(tmp_path / "none.json") == ()


@pytest.mark.parametrize(
    "text", ["", "[]", '{"format": 2, "answers": []}', '{"format": 1, "answers": [{}]}', '{"format": 1, "answers": 3}']
)
def test_a_record_that_is_none_is_refused_and_left(tmp_path: Path, text: str) -> None:
    path = tmp_path / "practice.json"
    path.write_text(text)
    with pytest.raises(InputError, match="no record of practice"):
        read_answers(path)
    assert path.read_text() == text


def test_a_score_out_of_bounds_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "practice.json"
    keep_answers(path, [answered("rings", 0, 1.0, START_NS)])
    body = json.loads(path.read_text())
    body["answers"][0]["points"] = 7.0
    path.write_text(json.dumps(body))
    with pytest.raises(InputError, match="outside 0 to 1"):
        read_answers(path)
