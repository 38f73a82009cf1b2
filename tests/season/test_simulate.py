"""The run over hours: laws, the order of reasons, states, observations and gaps."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from small_fields import START, land, limits, stand, weather

from readiness.atmosphere.evapotranspiration import weather_et
from readiness.atmosphere.weather import HOUR
from readiness.grain.crops import CROPS
from readiness.grain.moisture import standing_grain
from readiness.season.codes import Reason, Tier
from readiness.season.grain_kernel import ripening_curve
from readiness.season.inputs import Observation
from readiness.season.kernel import fill_site_hours
from readiness.season.kernel_arrays import sky
from readiness.season.kernel_layout import CropFact, FieldFact, Hourly
from readiness.season.simulate import simulate
from readiness.season.uncertainty import GRAIN_WAIT, GROUND_WAIT, MAX_SURPRISE


def with_nan(frame, hours, name="humidity"):
    value = getattr(frame, name).copy()
    value[:, :, hours] = np.nan
    return replace(frame, **{name: value})


def test_dry_weather_opens_the_afternoon_and_dew_shuts_the_night():
    season = simulate(weather(8), land(), stand(), limits())
    last = season.reason[0, 0, -24:]
    assert (last[12:18] == Reason.OPEN).all()
    assert season.tier[0, 0, -1] == Tier.FIRM
    damp = simulate(weather(8, dew_point=15.0), land(), stand(), limits())
    assert (damp.reason[0, 0, -24:][[3, 4, 5]] == Reason.GRAIN).all()


def test_grain_in_the_kernel_is_that_of_the_plain_loop():
    # hand: a ripe field that starts at 16 % must follow `standing_grain`, which assumes a clear
    # sky; radiation above that of any clear sky makes the kernel assume a clear sky too
    frame = weather(5, showers=((40, 3.0),))
    frame = replace(frame, radiation=np.full_like(frame.radiation, 1400.0))
    season = simulate(frame, land(), stand(moisture=16.0, ripe="NaT"), limits())
    hours = {n: getattr(frame, n)[0, 0] for n in ("rain", "temp", "humidity", "wind", "radiation")}
    plain = standing_grain(hours, CROPS["wheat_hard"], start=16.0)
    for name in ("moisture", "film", "wettings", "sprout"):
        assert getattr(season, name)[0, 0] == pytest.approx(plain[name], abs=1e-9)


def test_rain_shuts_the_ground_and_it_opens_again_headland_first():
    frame = weather(12, showers=((30, 35.0), (33, 25.0)))
    season = simulate(frame, land(), stand(), limits())
    assert season.reason[0, 0, 30] == Reason.GROUND
    assert season.tier[0, 0, 34] == Tier.SOFT
    tiers = season.tier[0, 0, 34:]
    first = {t: int(np.argmax(tiers == t)) for t in (Tier.HEADLAND_ONLY, Tier.FIRM)}
    assert 0 < first[Tier.HEADLAND_ONLY] < first[Tier.FIRM]


def test_reasons_come_in_their_order():
    # a calm dry afternoon hour, made worse step by step; each cause outranks the causes before it
    hot = {"temp": (20.0, 38.0), "dew_point": 10.0, "wind": (9.0, 2.0)}
    frame, hour = weather(4, **hot), 3 * 24 + 15
    night = 3 * 24 + 23
    rules = {"heat_stop": 25.0, "fire_stop": 5.0, "wind_stop": 4.0}

    def reason(h=hour, frame=frame, standing=None, where=None, **rule):
        where = where or land(bearing_offset=0.2)
        return simulate(frame, where, standing or stand(), limits(**rule)).reason[0, 0, h]

    bolt = np.ones((1, 1, 96), dtype=bool)
    dirt = np.full(1, 2)
    assert reason() == Reason.OPEN
    assert reason(night, daylight_only=True) == Reason.NIGHT
    assert reason(heat_stop=25.0) == Reason.HEAT
    assert reason(heat_stop=25.0, lightning=bolt) == Reason.LIGHTNING
    assert reason(heat_stop=25.0, fire_stop=5.0, lightning=bolt) == Reason.FIRE
    assert reason(**rules, lightning=bolt) == Reason.WIND
    green = stand(ripe=START + 500 * HOUR)
    assert reason(standing=green, **rules) == Reason.GREEN
    tough = stand(limit=3.0)
    assert reason(standing=tough, **rules) == Reason.GRAIN
    wet = weather(4, showers=((60, 70.0),), temp=(20.0, 38.0), dew_point=10.0, wind=(9.0, 2.0))
    shut = land(bearing_offset=0.3)
    soft = reason(frame=wet, standing=tough, where=land(bearing_offset=-0.2))
    assert soft == Reason.GROUND
    assert reason(frame=wet, standing=tough, where=shut, approach=dirt, **rules) in (
        Reason.APPROACH,
        Reason.GRAIN,
    )
    assert reason(frame=with_nan(frame, [hour])) == Reason.UNKNOWN


def test_dirt_approach_can_be_shut_when_the_field_is_not():
    frame = weather(10, showers=((30, 25.0),))
    paved = simulate(frame, land(), stand(), limits())
    dirt = simulate(frame, land(), stand(), limits(approach=np.full(1, 2)))
    assert (paved.approach == Tier.FIRM).all()
    shut = (dirt.reason == Reason.APPROACH) & (paved.tier != Tier.SOFT)
    assert shut.any()
    assert (dirt.approach[shut] == Tier.SOFT).all()


def test_unknown_hours_are_never_workable_and_short_gaps_pass():
    frame = with_nan(weather(6), slice(60, 63), "rain")
    season = simulate(frame, land(), stand(), limits())
    assert (season.reason[0, 0, 60:63] == Reason.UNKNOWN).all()
    assert (season.tier[0, 0, 60:63] == Tier.UNKNOWN).all()
    assert np.isnan(season.moisture[0, 0, 60:63]).all()
    assert np.isfinite(season.moisture[0, 0, 63:]).all()


def test_long_gaps_stay_unknown_until_forgotten_or_observed():
    frame = with_nan(weather(20), slice(48, 72))
    season = simulate(frame, land(), stand(), limits())
    back = 72 + int(GRAIN_WAIT)
    assert np.isnan(season.moisture[0, 0, 48:back]).all()
    assert np.isfinite(season.moisture[0, 0, back:]).all()
    ground = 72 + int(GROUND_WAIT)
    assert (season.reason[0, 0, 48:ground] == Reason.UNKNOWN).all()
    assert (season.tier[0, 0, ground:] != Tier.UNKNOWN).all()
    seen = [
        Observation(field=0, time=START + 80 * HOUR, kind="moisture", value=14.0, sd=0.5),
        Observation(field=0, time=START + 80 * HOUR, kind="tier", value=Tier.FIRM, sd=0.3),
    ]
    checked = simulate(frame, land(), stand(), limits(), observations=seen)
    assert (checked.reason[0, 0, 80:] != Reason.UNKNOWN).all()


def test_all_unknown_weather_is_all_unknown():
    frame = with_nan(weather(2), slice(None))
    season = simulate(frame, land(), stand(), limits())
    assert (season.reason == Reason.UNKNOWN).all()
    assert (season.tier == Tier.UNKNOWN).all()


def test_two_halves_are_the_whole():
    frame = weather(8, showers=((40, 12.0), (100, 6.0)))
    whole = simulate(frame, land(), stand(), limits())
    first = simulate(frame.between(START, START + 90 * HOUR), land(), stand(), limits())
    second = simulate(
        frame.between(START + 90 * HOUR, START + 192 * HOUR),
        land(),
        stand(),
        limits(),
        state=first.end,
    )
    for name in ("water_top", "water_below", "moisture", "film", "wettings", "reason", "tier"):
        both = np.concatenate([getattr(first, name), getattr(second, name)], axis=2)
        assert np.array_equal(both, getattr(whole, name)), name


def test_the_end_of_a_run_can_be_used_twice():
    frame = weather(4)
    first = simulate(frame.between(START, START + 48 * HOUR), land(), stand(), limits())
    rest = frame.between(START + 48 * HOUR, START + 96 * HOUR)
    a, b = (simulate(rest, land(), stand(), limits(), state=first.end) for _ in range(2))
    assert np.array_equal(a.moisture, b.moisture)


def test_one_member_spreads_over_many_without_moving_the_mean():
    past = simulate(weather(4), land(3), stand(3), limits(3))
    forecast = weather(2, members=40, start=START + 96 * HOUR)
    season = simulate(forecast, land(3), stand(3), limits(3), state=past.end, seed=4)
    first = season.moisture[:, :, 0]
    # hand: the first hour may move the mean by 1.5 points
    assert abs(first.mean(axis=0) - past.moisture[0, :, -1]).max() < 1.5
    assert 0.5 < first.std(axis=0).mean() < 1.6
    assert season.water_top[:, :, 0].std(axis=0).min() > 0.005
    again = simulate(forecast, land(3), stand(3), limits(3), state=past.end, seed=4)
    other = simulate(forecast, land(3), stand(3), limits(3), state=past.end, seed=5)
    assert np.array_equal(season.moisture, again.moisture)
    assert not np.array_equal(season.moisture, other.moisture)


def test_a_sample_moves_the_state_by_its_weight_and_members_keep_their_spread():
    frame = weather(6, members=30)
    sample = Observation(field=0, time=START + 100 * HOUR, kind="moisture", value=12.0, sd=0.5)
    standing = stand(2, moisture=15.0, ripe="NaT")
    plain = simulate(frame, land(2), standing, limits(2), seed=1)
    seen = simulate(frame, land(2), standing, limits(2), observations=[sample], seed=1)
    before, after = plain.moisture[:, 0, 100], seen.moisture[:, 0, 100]
    assert abs(after.mean() - 12.0) < abs(before.mean() - 12.0)
    assert after.std() > 0.1
    assert np.array_equal(plain.moisture[:, 1], seen.moisture[:, 1])
    # hand: the gain is 1.2² / (1.2² + sd²), so a poor sample moves the state less
    poor = replace(sample, sd=2.0)
    less = simulate(frame, land(2), standing, limits(2), observations=[poor], seed=1)
    assert abs(less.moisture[:, 0, 100].mean() - before.mean()) < abs(after.mean() - before.mean())


def test_grain_found_wetter_than_a_moisture_never_dries_the_state():
    frame = weather(6, members=30)
    standing = stand(2, moisture=15.0, ripe="NaT")
    before = simulate(frame, land(2), standing, limits(2), seed=1).moisture
    plain, at = before[:, :, 100], START + 100 * HOUR

    def found(above):
        seen = Observation(field=0, time=at, kind="wetter", value=above, sd=1.0)
        run = simulate(frame, land(2), standing, limits(2), observations=[seen], seed=1)
        return run.moisture[:, :, 100]

    # law: grain known to be wetter than less than it has is news of nothing
    assert np.array_equal(found(float(before[:, 0, 99].min()) - 1.5), plain)
    above = float(before[:, 0, 99].mean())
    seen = found(above)
    assert plain[:, 0].mean() < seen[:, 0].mean() < plain[:, 0].mean() + 1.0
    assert np.array_equal(seen[:, 1], plain[:, 1])


def test_a_surprising_sample_is_clipped_and_reported():
    standing = stand(moisture=13.0, ripe="NaT")
    surprising = Observation(field=0, time=START + 60 * HOUR, kind="moisture", value=35.0, sd=0.5)
    season = simulate(weather(4), land(), standing, limits(), observations=[surprising])
    assert season.moisture[0, 0, 60] < 20.0
    ((number, surprise),) = season.surprises
    assert number == 0
    assert surprise > MAX_SURPRISE


def test_a_ground_check_moves_the_tier():
    frame = weather(6, showers=((30, 45.0), (33, 35.0)))
    soft = simulate(frame, land(), stand(), limits())
    assert soft.tier[0, 0, 40] == Tier.SOFT
    seen = [Observation(field=0, time=START + 40 * HOUR, kind="tier", value=Tier.FIRM, sd=0.3)]
    firm = simulate(frame, land(), stand(), limits(), observations=seen)
    assert firm.water_top[0, 0, 40] < soft.water_top[0, 0, 40]
    assert firm.tier[0, 0, 40] == Tier.FIRM  # on ground that the model holds to be nearly saturated
    agree = [replace(seen[0], value=Tier.SOFT)]
    same = simulate(frame, land(), stand(), limits(), observations=agree)
    assert same.water_top[0, 0, 40] == pytest.approx(soft.water_top[0, 0, 40])
    water = [Observation(field=0, time=START + 40 * HOUR, kind="water", value=0.2, sd=0.02)]
    drier = simulate(frame, land(), stand(), limits(), observations=water)
    assert drier.water_top[0, 0, 40] < soft.water_top[0, 0, 40]


def test_green_grain_ripens_on_its_curve_and_a_sample_moves_the_curve():
    standing = stand(ripe=START + 48 * HOUR)
    season = simulate(weather(12), land(), standing, limits())
    # hand: 32 % at maturity, 1.2 points a day before and 2 a day after; in the afternoon the core
    # still holds a point or two from the dew of the nights
    for hour, curve in ((40, 32.3), (16, 33.5), (113, 26.5)):
        assert curve <= season.moisture[0, 0, hour] <= curve + 2.2
    assert (season.reason[0, 0, 10:40] == Reason.GREEN).any()
    seen = [Observation(field=0, time=START + 12 * HOUR, kind="moisture", value=25.0, sd=0.5)]
    early = simulate(weather(12), land(), standing, limits(), observations=seen)
    assert early.moisture[0, 0, 14] == pytest.approx(25.0, abs=1.0)
    assert early.moisture[0, 0, 40] < 25.0
    assert early.reason[0, 0, 38] != Reason.GREEN


def test_sites_can_be_shared():
    frame = weather(4, sites=2)
    frame.rain[:, 1, 20] = 10.0
    site = np.array([1, 0, 1])
    shared = simulate(frame, land(3), stand(3), limits(3), site=site)
    each = simulate(frame.sites(site), land(3), stand(3), limits(3))
    assert np.array_equal(shared.moisture, each.moisture)
    assert np.array_equal(shared.reason, each.reason)
    with pytest.raises(ValueError, match="weather has 2 sites for 3 fields; pass `site`"):
        simulate(frame, land(3), stand(3), limits(3))
    with pytest.raises(ValueError, match="site must name one of 2 sites for each of 3 fields"):
        simulate(frame, land(3), stand(3), limits(3), site=np.array([0, 1, 2]))


def test_fields_run_in_parts_are_those_run_together():
    n, site = 7, np.array([0, 0, 1, 1, 1, 2, 2])
    frame = weather(6, members=3, sites=3, showers=((40, 12.0), (110, 6.0)))
    frame.rain[:, 1] *= 2.0
    first, rest = (
        frame.between(START, START + 60 * HOUR),
        frame.between(START + 60 * HOUR, START + 144 * HOUR),
    )
    past = simulate(first, land(n), stand(n), limits(n), site=site).end
    whole = simulate(rest, land(n), stand(n), limits(n), site=site, state=past)
    for part in (slice(0, 3), slice(3, 6), slice(6, 7)):
        used, where = np.unique(site[part], return_inverse=True)
        k = len(where)
        season = simulate(
            rest.sites(used), land(k), stand(k), limits(k), site=where, state=past.fields(part)
        )
        for name in ("water_top", "moisture", "wettings", "reason", "tier"):
            assert np.array_equal(getattr(season, name), getattr(whole, name)[:, part]), name


def test_mixed_crops_do_not_disturb_each_other():
    crops = ("barley", "wheat_hard", "canola", "barley")
    mixed = replace(stand(4), crop=crops)
    together = simulate(weather(4), land(4), mixed, limits(4))
    for f, crop in enumerate(crops):
        alone = simulate(weather(4), land(), stand(crop=crop), limits())
        assert np.array_equal(together.moisture[:, f], alone.moisture[:, 0])


# exact messages
@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"kind": "colour"}, "observation kind 'colour': use one of moisture, tier, water"),
        ({"field": 3}, "observation of field 3: there are 1 fields"),
        ({"sd": 0.0}, "observation sd must be > 0, got 0.0"),
    ],
)
def test_bad_observations_are_refused(change, message):
    good = Observation(field=0, time=START, kind="moisture", value=14.0, sd=0.5)
    with pytest.raises(ValueError, match=message):
        simulate(weather(1), land(), stand(), limits(), observations=[replace(good, **change)])


def test_states_that_do_not_fit_are_refused():
    end = simulate(weather(1, members=2), land(2), stand(2), limits(2)).end
    with pytest.raises(ValueError, match="state has 2 fields, this run 1"):
        simulate(weather(1), land(), stand(), limits(), state=end)
    with pytest.raises(ValueError, match="state has 2 members, this run 3"):
        simulate(weather(1, members=3), land(2), stand(2), limits(2), state=end)
    with pytest.raises(TypeError, match="state must be the `end` of a Season, got str"):
        simulate(weather(1), land(), stand(), limits(), state="yesterday")


rains = st.lists(st.tuples(st.integers(0, 95), st.floats(0, 30)), max_size=5)


@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(
    rain=rains,
    dew=st.floats(2, 20),
    sand=st.floats(0.1, 0.8),
    crop=st.sampled_from(sorted(CROPS)),
)
def test_more_rain_never_leaves_ground_or_grain_drier(rain, dew, sand, crop):
    frame = weather(4, dew_point=dew)
    more = replace(frame, rain=frame.rain.copy())
    for hour, mm in rain:
        more.rain[0, 0, hour] += mm
    where = land(sand=sand, clay=(1 - sand) / 3)
    dry, wet = (simulate(w, where, stand(crop=crop), limits()) for w in (frame, more))
    assert (wet.moisture >= dry.moisture - 1e-9).all()
    assert (wet.film >= dry.film - 1e-9).all()
    assert (wet.water_top >= dry.water_top - 1e-9).all()
    assert (wet.water_below >= dry.water_below - 1e-9).all()
    assert (wet.tier <= dry.tier).all()
    opened = wet.reason == Reason.OPEN
    assert (dry.reason[opened] == Reason.OPEN).all()
    for season in (dry, wet):
        assert (season.moisture > 0).all()
        assert (season.moisture < 75).all()
        assert (season.water_top > 0).all()
        assert (season.water_top <= where.saturation + 1e-9).all()


@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(
    gaps=st.lists(st.tuples(st.integers(0, 95), st.integers(1, 30)), min_size=1, max_size=4),
    name=st.sampled_from(["rain", "temp", "humidity", "wind", "radiation"]),
)
def test_unknown_is_never_workable(gaps, name):
    frame = weather(4)
    for hour, length in gaps:
        frame = with_nan(frame, slice(hour, hour + length), name)
    season = simulate(frame, land(), stand(), limits())
    unknown = np.isnan(getattr(frame, name))
    assert (season.reason[unknown] == Reason.UNKNOWN).all()
    assert (season.tier[unknown] == Tier.UNKNOWN).all()
    assert (season.reason[np.isnan(season.moisture) | np.isnan(season.water_top)] == 1).all()


def test_reference_et_in_the_kernel_is_that_of_the_vectorised_equation():
    # hand: both ASCE equations must agree hour by hour over cloudy and clear days and their nights
    frame = weather(4, noon=800.0)
    frame.radiation[:, :, 24:48] *= 0.3
    where = land()
    hourly = np.empty((len(Hourly), 96))
    fill_site_hours(sky(frame, where, np.zeros(1, dtype=np.int64)), 0, 0, np.nan, hourly)
    expected = weather_et(frame, where.latitude, where.longitude, where.elevation_m)[0, 0]
    assert hourly[Hourly.ETO] == pytest.approx(expected, abs=1e-12)


def test_sand_opens_before_loam_and_loam_before_clay():  # common practice, no source
    sand, clay = np.array([0.80, 0.40, 0.25]), np.array([0.05, 0.20, 0.50])
    rain = tuple((day * 24 + h, 3.0) for day in (2, 3, 5, 6, 8) for h in range(14, 20))
    season = simulate(weather(24, showers=rain), land(3, sand=sand, clay=clay), stand(3), limits(3))
    opened = [int(np.argmax(season.tier[0, f, 9 * 24 :] > Tier.SOFT)) for f in range(3)]
    assert opened[0] < opened[1] < opened[2]
    assert (season.tier[0, :, 8 * 24 + 19] == Tier.SOFT).all()


def dewy(**changes):
    """Reasons of a fine day after a night with dew, (hour,)."""
    frame = weather(4, temp=(11.0, 27.0), dew_point=11.5)
    return simulate(frame, land(), replace(stand(moisture=13.5), **changes), limits())


def test_tough_straw_shuts_the_morning_after_the_dew_is_off():
    day = slice(72, 96)
    usual = dewy().reason[0, 0, day]
    tough = np.flatnonzero(usual == Reason.STRAW)
    assert tough.size
    assert (usual[tough[-1] + 1] == Reason.OPEN) or (usual[tough[0] - 1] == Reason.OPEN)
    free = dewy(straw_limit=np.array([np.inf]))
    assert not (free.reason == Reason.STRAW).any()
    shut = np.isin(usual, (Reason.STRAW, Reason.OPEN))
    assert np.array_equal(shut, free.reason[0, 0, day] == Reason.OPEN)
    drier = dewy(straw_limit=np.array([50.0])).reason[0, 0, day]
    assert (drier == Reason.OPEN).sum() < (usual == Reason.OPEN).sum()


def test_lodged_and_swathed_crops_stay_wet_longer():
    # published: lodged wheat traps damp air and dries late (Kansas State 2025); swaths are wetter
    # and dry more slowly after rain than standing wheat (Mares)
    frame = weather(6, showers=((40, 12.0), (41, 8.0)))

    def mean(**changes):
        standing = replace(stand(moisture=13.5), **changes)
        return simulate(frame, land(), standing, limits()).moisture[0, 0, 48:].mean()

    upright = mean()
    assert upright < mean(lodged=np.array([0.5])) < mean(lodged=np.array([1.0]))
    assert upright < mean(swathed=np.array([True]))


def test_a_swathed_crop_dries_free_of_the_plant():
    # ripe two days ago at 32 %: the standing plant lets it fall by two points a day at most
    standing = stand(ripe=START - 48 * HOUR)
    held = simulate(weather(5), land(), standing, limits()).moisture[0, 0, -8]
    cut = replace(standing, swathed=np.array([True]))
    assert simulate(weather(5), land(), cut, limits()).moisture[0, 0, -8] < held


def test_the_ripening_curve_passes_maturity_and_then_lets_a_swath_go():
    # hand: 32 % wet basis is 100 · 32 / 68 % dry basis; two days before, 1.5 points a day wetter
    facts, crop = np.zeros(len(FieldFact)), np.zeros(len(CropFact))
    facts[FieldFact.MATURE], facts[FieldFact.DRYDOWN] = 32.0, np.inf
    crop[CropFact.FILLING_RATE] = 1.5
    curve = [ripening_curve(days, facts, crop) for days in (-2.0, 0.0, 0.04)]
    assert curve == pytest.approx([3500 / 65, 3200 / 68, 100 / 99])


def test_a_weighed_load_and_a_falling_number_move_quality():
    frame = weather(6, showers=((40, 12.0), (41, 8.0), (88, 12.0), (89, 6.0)))
    seen = {
        kind: Observation(field=0, time=START + 60 * HOUR, kind=kind, value=value, sd=1.0)
        for kind, value in (("weighed", 0.0), ("sprout at least", 0.04), ("sprout at most", 0.005))
    }

    def run(*kinds):
        observations = [seen[kind] for kind in kinds]
        return simulate(frame, land(), stand(moisture=13.5), limits(), observations=observations)

    plain, weighed = run(), run("weighed")
    before, after = plain.wettings[0, 0, 59], plain.wettings[0, 0, -1]
    assert 0 < before < after
    assert weighed.wettings[0, 0, 60] == 0
    assert weighed.wettings[0, 0, -1] == after - before
    assert run("sprout at least").sprout[0, 0, 60] == pytest.approx(0.04)
    assert run("sprout at least", "sprout at most").sprout[0, 0, 60] == pytest.approx(0.005)


def test_a_wet_sample_of_rained_on_ripe_grain_does_not_unripen_it():
    # a sample that says what the model says after rain leaves the drying as it is
    frame = weather(8, showers=tuple((40 + h, 1.5) for h in range(14)))
    ripe = stand(ripe=START - 20 * 24 * HOUR)
    plain = simulate(frame, land(), ripe, limits())
    wet = float(plain.moisture[0, 0, 60])
    assert wet > 20.0
    seen = [Observation(field=0, time=START + 61 * HOUR, kind="moisture", value=wet, sd=0.5)]
    told = simulate(frame, land(), ripe, limits(), observations=seen)
    assert told.moisture[0, 0, -1] == pytest.approx(plain.moisture[0, 0, -1], abs=0.5)
