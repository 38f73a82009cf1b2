"""The season of a farm: its fields may come in any order."""

from dataclasses import replace
from datetime import datetime
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from farm_folder import copy_sample

from readiness.season.inputs import Observation
from scheduler.planning.information import gather
from scheduler.windows.model_inputs import season_rows, simulate_farm, stream_of

NOW = datetime(2026, 8, 12, 6, tzinfo=ZoneInfo("America/Chicago"))
HOURLY = ("water_top", "water_below", "moisture", "film", "tier", "approach", "reason", "wettings")


@pytest.fixture(scope="module")
def information(tmp_path_factory):
    folder = copy_sample(tmp_path_factory.mktemp("sample"))
    return gather(folder, NOW, forecast=None, days=6, seed=0)


def season_of(information, order):
    """Season of the sample farm with its fields in an order and three observations."""
    farm, weather = information.farm, information.weather
    place = {int(f): i for i, f in enumerate(order)}
    seen = [
        Observation(field=f, time=weather.forecast.start, kind=kind, value=value, sd=0.5)
        for f, kind, value in ((2, "moisture", 15.0), (2, "tier", 1.0), (9, "moisture", 17.0))
    ]
    season, _ = simulate_farm(
        replace(farm, fields=tuple(farm.fields[i] for i in order)),
        weather.past.sites(order),
        weather.forecast.sites(order),
        lightning=None if weather.lightning is None else weather.lightning[:, order],
        observations=[replace(o, field=place[o.field]) for o in reversed(seen)],
    )
    return season


def test_shuffled_fields_of_the_sample_have_the_same_season(information):
    farm = information.farm
    order = np.random.default_rng(8).permutation(len(farm.fields))
    given = season_of(information, np.arange(len(farm.fields)))
    moved = season_of(information, order)
    rows = [(f.id, hollow) for f, hollow in season_rows(farm)]
    shuffled = replace(farm, fields=tuple(farm.fields[i] for i in order))
    row_of = {(f.id, hollow): i for i, (f, hollow) in enumerate(season_rows(shuffled))}
    same = [row_of[row] for row in rows]
    for name in HOURLY:
        assert np.array_equal(getattr(given, name), getattr(moved, name)[:, same]), name


def test_every_row_of_the_sample_has_a_stream_of_its_own(information):
    rows = season_rows(information.farm)
    streams = [stream_of(field, hollow) for field, hollow in rows]
    assert len(set(streams)) == len(rows)
    assert any(hollow for _, hollow in rows)
    assert 0 <= min(streams) <= max(streams) < 2**63
    renamed = replace(rows[0][0], name="another name", crop="barley", area_ha=1.0)
    assert stream_of(renamed, False) == streams[0]
