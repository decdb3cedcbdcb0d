"""What a bearing make changes, from jobs that changed it."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analytics.estimators.changed_make import ChangedMake, changed_make_effects
from analytics.estimators.interval import TooFew

MAKES = ("Alder", "Birch", "Cedar")
TRUE = {"Alder": 0.0, "Birch": 0.0, "Cedar": 0.040}


def jobs(seed: int, count: int = 200) -> tuple[np.ndarray, list[str], list[str], list[str]]:
    random = np.random.default_rng(seed)
    found = [MAKES[i] for i in random.integers(0, 2, count)]
    kinds = ["new" if new else "used" for new in random.random(count) < 0.6]
    built = [
        MAKES[i] if kind == "new" else was
        for i, kind, was in zip(random.integers(0, 3, count), kinds, found, strict=True)
    ]
    level = np.where(np.array(kinds) == "new", -0.02, 0.0)
    shift = np.array([TRUE[b] - TRUE[f] for b, f in zip(built, found, strict=True)])
    return level + shift + random.normal(0, 0.02, count), found, built, kinds


def told(found: tuple[ChangedMake, ...] | TooFew) -> dict[str, ChangedMake]:
    assert not isinstance(found, TooFew)
    return {one.make: one for one in found}


def test_a_planted_make_is_found_with_its_sign() -> None:
    effect = told(changed_make_effects(*jobs(1)))["Cedar"]
    assert effect.effect.lower < 0.040 < effect.effect.upper
    assert effect.effect.lower > 0.02
    assert effect.probability < 1e-6


def test_intervals_cover_the_truth_as_stated() -> None:
    inside = [
        one.effect.lower <= 0.040 <= one.effect.upper
        for seed in range(200)
        for one in [told(changed_make_effects(*jobs(seed, 80)))["Cedar"]]
    ]
    assert 0.91 <= np.mean(inside) <= 0.985  # 95 %: binomial error of 200 is 1.5 %


def test_one_slip_does_not_speak() -> None:
    changes, found, built, kinds = jobs(3)
    before = told(changed_make_effects(changes, found, built, kinds))["Cedar"].effect.estimate
    changes[built.index("Cedar")] += 2.0
    assert told(changed_make_effects(changes, found, built, kinds))["Cedar"].effect.estimate == pytest.approx(
        before, abs=0.003
    )


@settings(max_examples=20, deadline=None)
@given(st.permutations(range(40)))
def test_row_order_does_not_matter(order: list[int]) -> None:
    changes, found, built, kinds = jobs(5, 40)
    one = changed_make_effects(changes, found, built, kinds)
    other = changed_make_effects(changes[order], *([names[row] for row in order] for names in (found, built, kinds)))
    assert one == other


def test_too_few_changes_of_make_are_said() -> None:
    answer = changed_make_effects(np.zeros(20), ["Alder"] * 20, ["Alder"] * 18 + ["Birch"] * 2, ["new"] * 20)
    assert isinstance(answer, TooFew)
    assert str(answer) == "too few to say (2 of 8 jobs with another bearing make)"


def test_unequal_lengths_are_refused() -> None:
    with pytest.raises(ValueError, match="unlike numbers"):
        changed_make_effects([0.1], ["Alder"], [], ["new"])
