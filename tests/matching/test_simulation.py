"""Shown chances against seasons played out flower by flower. It checks arithmetic, not nature."""

import numpy as np
import pytest

from tests.matching.instance import TODAY, Instance, lane, offer, random_pair, wanted, window
from tests.matching.simulation import even_flowers, poisson_flowers, simulate

SEASONS = 20_000
MARGIN, ERRORS = 0.02, 3.0
MEAN_MARGIN = 0.004
# On request by day, north and south; night; a lot, dried and fresh.
FEW = (1, 2, 6, 9, 13)


def differences(index: int) -> tuple[float, float]:
    """Shown minus simulated: of each flower, and of at least one capsule; both within the margin."""
    pair = random_pair(index)
    plan = pair.planned()
    played = simulate(pair, seasons=SEASONS, seed=index)
    found = plan.each_flower.estimate - played.each_flower, plan.several.estimate - played.several
    for difference, share in zip(found, (played.each_flower, played.several), strict=True):
        assert abs(difference) <= MARGIN + ERRORS * played.standard_error(share), (index, found, played)
    return found


@pytest.mark.parametrize("index", FEW)
def test_shown_chances_are_those_of_simulated_seasons(index: int) -> None:
    differences(index)


@pytest.mark.slow
def test_over_fifty_pairs_nothing_is_shown_too_high_or_too_low() -> None:
    found = np.array([differences(index) for index in range(50)])
    assert np.abs(found.mean(axis=0)).max() <= MEAN_MARGIN, found.mean(axis=0)


def test_the_fifty_pairs_are_of_every_kind() -> None:
    pairs = [random_pair(index) for index in range(50)]
    for few in (
        [pair.offer.lot is not None for pair in pairs],
        [pair.today.month == 12 for pair in pairs],
        [pair.wanted.parent.diel == "night" for pair in pairs],
    ):
        assert 10 <= sum(few) <= 40
    assert {pair.offer.doses for pair in pairs} == {1, 2, 3, 4}
    assert {pair.offer.treatment for pair in pairs} == {"fresh", "dried", "frozen"}


def test_simulated_flowers_keep_to_their_season_and_rate() -> None:
    rng = np.random.default_rng(1)
    known = window(10.0, 20.0, start_sd=0.0, end_sd=0.0, rate_shape=1e9, rate_exposure_days=4e9, crowns=2)
    for flowering in (poisson_flowers, even_flowers):
        flowers = flowering(rng, known, 5, 30, 4000)
        assert not flowers[:, :5].any() and not flowers[:, 16:].any()
        assert flowers[:, 5:16].mean() == pytest.approx(0.5, abs=0.02)
    # An even crown has five or six flowers in eleven days, never none.
    assert set(even_flowers(rng, known, 5, 30, 4000).sum(axis=1).tolist()) == {5, 6}


def test_a_season_without_bloom_has_no_flower_and_no_capsule() -> None:
    pair = Instance(offer(), wanted(), lane(), TODAY)
    assert pair.offer.bloom is not None
    barren = window(20.0, 70.0, flowering_chance=0.0)
    assert poisson_flowers(np.random.default_rng(1), barren, 0, 100, 50).sum() == 0
