"""First-try pack: coverage, width against an oracle, bearing makes, the pack found, refusals."""

import numpy as np
import pytest
from scipy import stats

from analytics.estimators.first_try_pack import (
    PackCase,
    PackHistory,
    PackPrediction,
    first_try_pack,
    make_effects,
    marking_share,
    needed_pack,
)
from analytics.estimators.interval import TooFew

FAMILIES = {"axle drive A": 1.20, "axle drive B": 0.85, "transaxle C": 2.10}
MAKES = ("make one", "make two", "make three")
BETWEEN, READING, WEAR = 0.05, 0.012, 0.02
"""mm: spread between cases of a family, of a reading (as pack), and of what a unit changes in service."""


def workshop(random: np.random.Generator, jobs: int) -> PackHistory:
    """Draw jobs in time order: make three stands 0.06 mm higher, most packs found are on record."""
    families = random.choice(list(FAMILIES), jobs)
    makes = random.choice(MAKES, jobs, p=[0.5, 0.3, 0.2])
    own = random.normal(0, BETWEEN, jobs)
    level = np.array([FAMILIES[family] for family in families]) + own
    needed = level + 0.06 * (makes == "make three") + random.normal(0, READING, jobs)
    kept = random.random(jobs) < 0.5
    noise = np.where(kept, WEAR, 0.06)
    as_found = np.where(random.random(jobs) < 0.8, level + random.normal(0, 1, jobs) * noise, np.nan)
    return PackHistory(needed, tuple(families), tuple(makes), as_found, tuple(kept.tolist()))


def past(history: PackHistory, count: int) -> PackHistory:
    return PackHistory(
        history.needed[:count], history.families[:count], history.makes[:count], history.as_found[:count],
        history.kept[:count],
    )  # fmt: skip


def case_of(history: PackHistory, row: int, marking: float = 0.0) -> PackCase:
    found = float(history.as_found[row])
    return PackCase(
        history.families[row], history.makes[row], marking, None if np.isnan(found) else found, history.kept[row]
    )


def predictions(seeds: range, jobs: int, every: int) -> list[tuple[PackPrediction, float]]:
    """Predict jobs by rolling origin: each from the jobs before it only."""
    answers = []
    for seed in seeds:
        history = workshop(np.random.default_rng(seed), jobs)
        for row in range(20, jobs, every):
            found = first_try_pack(past(history, row), case_of(history, row))
            if isinstance(found, PackPrediction):
                answers.append((found, float(history.needed[row])))
    return answers


def test_prediction_intervals_cover_over_a_thousand_predictions() -> None:
    answers = predictions(range(4601, 4605), 280, 1)
    assert len(answers) >= 1000
    hits = sum(found.pack.lower <= truth <= found.pack.upper for found, truth in answers)
    assert stats.binomtest(hits, len(answers), 0.90).pvalue > 0.01


@pytest.mark.long
def test_prediction_intervals_cover_in_the_long_run() -> None:
    answers = predictions(range(46_000, 46_040), 300, 1)
    hits = sum(found.pack.lower <= truth <= found.pack.upper for found, truth in answers)
    assert 0.89 <= hits / len(answers) <= 0.915


def test_width_comes_near_an_oracle_that_knows_the_truth() -> None:
    history = workshop(np.random.default_rng(4610), 900)
    spread = {True: WEAR, False: 0.06}
    ratios = []
    for row in range(800, 900):
        found = first_try_pack(past(history, row), case_of(history, row))
        assert isinstance(found, PackPrediction)
        variance = BETWEEN**2
        if found.found_weight is not None:
            variance = 1 / (1 / BETWEEN**2 + 1 / spread[history.kept[row]] ** 2)
        oracle = 2 * stats.norm.ppf(0.95) * np.sqrt(variance + READING**2)
        ratios.append((found.pack.upper - found.pack.lower) / oracle)
    assert np.mean(ratios) == pytest.approx(1.0, abs=0.08)


def test_the_unit_itself_counts_more_where_its_gear_set_is_kept() -> None:
    history = workshop(np.random.default_rng(4611), 2000)
    kept = first_try_pack(history, PackCase("axle drive A", "make one", as_found=1.30, kept=True))
    changed = first_try_pack(history, PackCase("axle drive A", "make one", as_found=1.30, kept=False))
    unknown = first_try_pack(history, PackCase("axle drive A", "make one"))
    assert isinstance(kept, PackPrediction)
    assert isinstance(changed, PackPrediction)
    assert isinstance(unknown, PackPrediction)
    assert kept.found_weight == pytest.approx(BETWEEN**2 / (BETWEEN**2 + WEAR**2), abs=0.08)
    assert changed.found_weight == pytest.approx(BETWEEN**2 / (BETWEEN**2 + 0.06**2), abs=0.12)
    assert unknown.found_weight is None
    assert kept.deviation < changed.deviation < unknown.deviation


def test_planted_make_effect_lies_inside_its_interval() -> None:
    inside = 0
    for seed in range(4620, 4640):
        found = make_effects(workshop(np.random.default_rng(seed), 300), "axle drive A")
        assert not isinstance(found, TooFew)
        third = next(effect for effect in found if effect.make == "make three")
        inside += third.effect.lower <= 0.06 <= third.effect.upper
        assert third.effect.estimate > 0
    assert inside >= 15


def test_a_make_never_seen_widens_the_interval() -> None:
    history = workshop(np.random.default_rng(4641), 300)
    known = first_try_pack(history, PackCase("axle drive A", "make one"))
    new = first_try_pack(history, PackCase("axle drive A", "make nine"))
    assert isinstance(known, PackPrediction)
    assert isinstance(new, PackPrediction)
    assert new.deviation > known.deviation
    assert new.make_jobs == 0


def test_marking_is_taken_out_under_its_sign_and_put_back() -> None:
    # Depth falls by 1 mm per mm of pack: a set marked +0.10 (deeper target) needs 0.10 mm less.
    share = marking_share([0.10], 1, [-1.0])
    assert share.tolist() == pytest.approx([-0.10])
    assert marking_share([0.10], -1, [-1.0]).tolist() == pytest.approx([0.10])
    history = workshop(np.random.default_rng(4642), 200)
    plain = first_try_pack(history, PackCase("axle drive A", "make one"))
    marked = first_try_pack(history, PackCase("axle drive A", "make one", marking=float(share[0])))
    assert isinstance(plain, PackPrediction)
    assert isinstance(marked, PackPrediction)
    assert marked.pack.estimate - plain.pack.estimate == pytest.approx(-0.10)
    assert marked.pack.upper - plain.pack.upper == pytest.approx(-0.10)


def test_needed_pack_follows_the_learned_response() -> None:
    assert needed_pack([1.2], [66.65], [66.60], [-1.0]).tolist() == pytest.approx([1.25])
    assert needed_pack([1.2], [0.20], [0.16], [0.85]).tolist() == pytest.approx([1.2 - 0.04 / 0.85])
    with pytest.raises(ValueError, match="other than zero"):
        needed_pack([1.2], [0.2], [0.1], [0.0])


def test_a_strange_pack_found_is_left_aside() -> None:
    history = workshop(np.random.default_rng(4645), 400)
    strange = first_try_pack(history, PackCase("axle drive A", "make one", as_found=2.5, kept=True))
    without = first_try_pack(history, PackCase("axle drive A", "make one", kept=True))
    assert strange == without


def test_intervals_hold_where_some_units_were_shimmed_by_others() -> None:
    random = np.random.default_rng(4646)
    hits = total = 0
    for seed in range(4650, 4655):
        history = workshop(np.random.default_rng(seed), 280)
        strange = random.random(280) < 0.04
        history.as_found[strange] += random.choice([-0.3, 0.3], int(strange.sum()))
        for row in range(20, 280):
            found = first_try_pack(past(history, row), case_of(history, row))
            if isinstance(found, PackPrediction):
                hits += found.pack.lower <= history.needed[row] <= found.pack.upper
                total += 1
    assert stats.binomtest(hits, total, 0.90).pvalue > 0.01


def test_history_order_does_not_matter() -> None:
    history = workshop(np.random.default_rng(4643), 120)
    shuffle = np.random.default_rng(1).permutation(120)
    mixed = PackHistory(
        history.needed[shuffle],
        tuple(history.families[i] for i in shuffle),
        tuple(history.makes[i] for i in shuffle),
        history.as_found[shuffle],
        tuple(history.kept[i] for i in shuffle),
    )
    case = PackCase("axle drive B", "make two", as_found=0.9, kept=True)
    assert first_try_pack(history, case) == first_try_pack(mixed, case)


def test_too_few_and_refusals() -> None:
    history = workshop(np.random.default_rng(4644), 30)
    answer = first_try_pack(history, PackCase("gearbox Z", "make one"))
    assert str(answer) == "too few to say (0 of 5 jobs of family gearbox Z with this shim location)"
    one = PackHistory(history.needed, ("f",) * 30, ("m",) * 30, history.as_found, history.kept)
    assert make_effects(one, "f") == TooFew("bearing makes in family f", 1, 2)
    with pytest.raises(ValueError, match="unlike numbers"):
        first_try_pack(PackHistory(history.needed, ("f",), ("m",), history.as_found, (True,)), PackCase("f", "m"))
    with pytest.raises(ValueError, match="sign"):
        marking_share([0.1], 2, [1.0])
