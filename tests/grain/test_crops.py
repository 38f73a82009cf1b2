"""Crop constants: trade facts, editions, and relations that physics or the sources give."""

import pytest

from readiness.grain.crops import CROPS, DORMANCY_HIGH, DORMANCY_LOW
from readiness.grain.moisture import wet_to_dry


def test_crops():
    assert list(CROPS) == [
        "wheat_hard",
        "wheat_soft",
        "wheat_durum",
        "barley",
        "oats",
        "canola",
        "corn",
        "sorghum",
        "soybean",
    ]


def test_bushel_weights():  # memory: trade standards, wheat 60 lb/bu common practice
    weights = {key: crop.lb_per_bu for key, crop in CROPS.items()}
    assert weights == {
        "wheat_hard": 60,
        "wheat_soft": 60,
        "wheat_durum": 60,
        "barley": 48,
        "oats": 32,
        "canola": 50,
        "corn": 56,
        "sorghum": 56,
        "soybean": 60,
    }


def test_a_400_bushel_tank_holds_24000_lb_of_wheat():  # common practice, no source
    assert 400 * CROPS["wheat_hard"].lb_per_bu == 24_000


@pytest.mark.parametrize("key", sorted(CROPS))
def test_constants_are_consistent(key):
    crop = CROPS[key]
    assert crop.base_moisture <= crop.thresh_limit < crop.mature_moisture
    assert crop.vapour_exposure <= crop.exposure  # so that rain never dries grain
    assert 0 <= crop.loss_day <= 0.0075  # published range of the recommended daily rate
    assert all(i.edition and i.source for i in crop.isotherms)
    assert wet_to_dry(crop.saturated_moisture) > 25


def test_isotherms_are_chosen_by_edition_and_form():
    book = CROPS["barley"].with_isotherm(edition="textbook", form="chung-pfost")
    assert book.isotherm.a == 457.12
    assert set(book.isotherms) == set(CROPS["barley"].isotherms)
    with pytest.raises(
        ValueError, match=r"canola: no isotherm D245\.6 halsey; choose from D245\.5 henderson"
    ):
        CROPS["canola"].with_isotherm(edition="D245.6", form="halsey")


def test_barley_sprouts_more_readily_than_wheat():  # published
    wheats = [CROPS[k] for k in ("wheat_hard", "wheat_soft", "wheat_durum")]
    assert CROPS["barley"].dormancy_days < min(w.dormancy_days for w in wheats)
    assert CROPS["barley"].sprout_scale < min(w.sprout_scale for w in wheats)


def test_dormancy_lies_within_the_published_lags():
    # published: 4 to more than 15 days by cultivar (Bauer & Black 1983, hard red spring wheat)
    assert (DORMANCY_LOW, DORMANCY_HIGH) == (4.0, 15.0)
    for name in ("wheat_hard", "wheat_soft", "wheat_durum", "barley", "oats"):
        assert DORMANCY_LOW <= CROPS[name].dormancy_days <= DORMANCY_HIGH


def test_moisture_at_maturity_lies_within_published_figures():
    # published: NDSU, Saskatchewan and Ohio State about 30 %, Alberta 35 % (small grains); corn
    # 30-35 % at black layer (Illinois); soybean over 50 % as its seed turns yellow (Ohio 2018)
    for name in ("wheat_hard", "wheat_soft", "wheat_durum", "barley", "oats", "corn"):
        assert 30.0 <= CROPS[name].mature_moisture <= 35.0
    assert CROPS["soybean"].mature_moisture >= 50.0
    # published: canola about 40 % (NDSU 2006), sorghum about 35 % (U.S. Grains Council 2015)
    assert (CROPS["canola"].mature_moisture, CROPS["sorghum"].mature_moisture) == (40.0, 35.0)


def test_rates_of_drying_are_published_ones():
    # published: 0.05933 and 0.07124 points a degree-day before 10 % (Alberta, barley); by hand at
    # 18 °C 1.07 and 1.28 points a day; canola 2-3 points a day (NDSU 2006)
    assert 0.05933 * 18.0 < CROPS["barley"].filling_rate < 0.07124 * 18.0
    assert 2.0 <= CROPS["canola"].drydown_rate <= 3.0


def test_delay_loss_is_within_the_published_rates():
    # published: Western Australia, wheat 0.2-0.5 and barley from 0.5 %/day (Tech. Bull. 79)
    assert 0.002 <= CROPS["wheat_hard"].loss_day <= 0.005
    assert CROPS["barley"].loss_day >= 0.005
    # published: ASABE timeliness, shelled corn 0.3, soybean 0.6-1.0 %/day (Schuler 2005)
    assert CROPS["corn"].loss_day == 0.003
    assert 0.006 <= CROPS["soybean"].loss_day <= 0.010
