"""The validation on small inputs and, where the open data are there, on one station."""

from pathlib import Path

import nbformat
import numpy as np
import pandas as pd
import pytest
from nbclient import NotebookClient
from places import DATA, ROOT
from station_rows import daily_line

from readiness.sources.uscrn import read_uscrn_daily
from readiness.validation import soil_moisture, stations, validate
from readiness.validation.days_suitable import STATES, state_mean, state_weeks
from readiness.validation.hours_after_rain import hours_after_rain
from scheduler.command import main
from scheduler.verification.model_page import validation_page
from scheduler.verification.model_tables import row_cells, strength_lines

needs_data = pytest.mark.skipif(
    not (DATA / "soil_moisture").is_dir(), reason="open data ../shared/data not there"
)


# hand: 1, 2, 3 against 2, 3, 4: r 1, no unbiased error, bias -1
def test_score() -> None:
    model = np.array([1.0, 2.0, np.nan, 3.0])
    found = soil_moisture.score(model, model + 1.0)
    assert found == soil_moisture.Score(r=pytest.approx(1.0), unbiased_rmse=0.0, bias=-1.0, days=3)
    assert np.isnan(soil_moisture.score(model, np.full(4, 2.0)).r)


# hand: of 4 wet days 3 are called, of 6 dry days 1 is called wet; skill 3/4 - 1/6 = 0.58; of 24
# pairs the missed day (-0.1) beats four dry days and ties with one, the others beat all: 22.5 / 24
def test_wet_days() -> None:
    measured = np.array([1, 1, 1, 1, 0, 0, 0, 0, 0, 0, np.nan])
    excess = np.array([0.3, 0.3, 0.3, -0.1, 0.2, -0.1, -0.2, -0.2, -0.2, -0.2, 0.1])
    days = [soil_moisture.WetDays(measured, excess)]
    table = soil_moisture.contingency_table(days)
    assert table == {"hit": 3, "missed": 1, "false alarm": 1, "rightly dry": 5}
    assert soil_moisture.roc_area(days) == pytest.approx(22.5 / 24.0)
    row = validate.wet_day_row("wet", days)
    assert row.met is False
    assert row.reached == (
        "0.75, 0.17 (4 wet, 6 dry days; 0.25 of the alarms are false; Peirce skill 0.58, "
        "ROC area 0.94)"
    )


# law: a perfect model hits all and warns of nothing, at any limit; a constant shift of the model is
# taken up by its own limit
def test_limit_of_the_model_takes_up_a_shift() -> None:
    probes = np.linspace(0.1, 0.4, 200)
    trained = np.arange(200) % 2 == 0
    for limit in (0.2, 0.35):
        found = soil_moisture.wet_days(
            probes, probes + 0.05, limit, trained=trained, tested=~trained
        )
        assert np.isnan(found.measured[trained]).all()
        table = soil_moisture.contingency_table([found])
        assert table["missed"] + table["false alarm"] <= 1
        assert table["hit"] == pytest.approx((probes[~trained] > limit).sum(), abs=1)


# law: kriging weights add up to one, a station in the state counts more than one far away, and more
# stations leave less error
def test_state_mean() -> None:
    lat, lon = np.array([38.5, 46.9, 32.0]), np.array([-98.0, -97.0, -88.0])
    mean, one = state_mean("KS", lat, lon), state_mean("KS", lat[:1], lon[:1])
    assert mean.weights.sum() == pytest.approx(1.0)
    assert mean.weights.argmax() == 0
    assert one.weights == pytest.approx([1.0])
    assert 0.0 < mean.error_variance < one.error_variance
    assert all(s < n and w < e for s, n, w, e in STATES.values())


# hand: Kansas errs by +1 d, other states by 0: RMSE 1, 0 and sqrt(1/2); over all six weeks the
# variances are 2/3 and 2/3 + 1/4, the covariance 2/3: r = sqrt(8/11)
def test_weeks_that_choose_and_weeks_that_test() -> None:
    weeks = pd.DataFrame(
        {
            "state": ["KS", "KS", "KS", "ND", "SD", "NE"],
            "reported": [3.0, 4.0, 5.0, 3.0, 4.0, 5.0],
            "modelled": [4.0, 5.0, 6.0, 3.0, 4.0, 5.0],
            "standard_error": [0.5] * 6,
        }
    )
    whole, choose, test = validate.week_rows(weeks)
    few = "so few stations alone err by 0.50 d)"
    assert (whole.met, choose.met, test.met) == (True, True, False)
    assert whole.reached == f"r 0.853, 0.71 d, bias +0.50 d (6 weeks; {few}"
    assert choose.reached == f"r 1.000, 0.00 d, bias +0.00 d (3 weeks; {few}"
    assert test.reached == f"r 1.000, 1.00 d, bias +1.00 d (3 weeks; {few}"
    assert "outside KS" in choose.name


def test_rows_without_data_say_so() -> None:
    none = pd.DataFrame({"state": [], "modelled": []})
    rows = [*validate.soil_rows([]), *validate.week_rows(none)]
    assert [r.met for r in rows] == [None] * 8
    assert {row_cells(r)[2:] for r in rows} == {("no data", "no data")}


def test_grain_rows_are_within_published_ranges() -> None:
    assert all(row.met for row in validate.grain_rows())


def test_empty_folder_is_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["validate", str(tmp_path)]) == 1
    expected = "holds none of the folders soil_moisture, days_suitable, reference_et: name another"
    assert capsys.readouterr().err == f"afterrain: {tmp_path} {expected}\n"
    assert main(["validate", str(tmp_path / "no")]) == 1
    assert (
        capsys.readouterr().err
        == f"afterrain: {tmp_path / 'no'} is no folder: name one with open records\n"
    )


def test_folder_without_stations(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "soil_moisture").mkdir()
    out = tmp_path / "page.html"
    assert main(["validate", str(tmp_path), "--out", str(out)]) == 0
    assert "no data" in capsys.readouterr().out
    page = out.read_text(encoding="utf-8")
    assert page.count("no data") >= 5
    assert "http" not in page  # nothing is fetched


# law: a station without probe readings in the training years is run without calibration
def test_station_without_training(tmp_path: Path) -> None:
    folder = tmp_path / "soil_moisture"
    folder.mkdir()
    days = np.arange("2018-01-01", "2019-12-31", dtype="M8[D]")
    for number, probes in ((1, False), (2, True)):
        for year in ("2018", "2019"):
            rows = [
                daily_line(
                    str(d).replace("-", ""),
                    T_DAILY_MAX=22.0 + i % 5,
                    T_DAILY_MIN=9.0 + i % 3,
                    P_DAILY_CALC=9.0 * (i % 7 == 0),
                    **({"SOIL_MOISTURE_5_DAILY": 0.2 + 0.01 * (i % 7)} if probes else {}),
                )
                for i, d in enumerate(days)
                if str(d).startswith(year)
            ]
            path = folder / f"CRND0103-{year}-XX_Nowhere_{number}_N.txt"
            path.write_text("\n".join(" ".join(row) for row in rows) + "\n")
    found = validate.validate(tmp_path, workers=1)
    assert [s.name for s in found.soils] == ["XX_Nowhere_1_N", "XX_Nowhere_2_N"]
    assert all(s.calibration is None for s in found.soils)
    assert found.soils[0].scores["5 cm, no calibration"].days == 0
    assert found.soils[1].scores["5 cm, no calibration"].days > 300
    assert found.rows[1].met is None
    assert "Nowhere" in validation_page(found)


# published: USCRN station Jamestown 38 WSW; limits as demanded of the medians
@pytest.mark.slow
@needs_data
def test_one_station_and_its_split() -> None:
    path = DATA / "soil_moisture" / "CRND0103_ND_Jamestown_38_WSW.csv.gz"
    site = stations.prepare_station(read_uscrn_daily(path))
    soil = soil_moisture.soil_results(site)
    plain, tested = soil.scores["5 cm, no calibration"], soil.scores["5 cm, calibrated, tested"]
    assert plain.r >= 0.76
    assert plain.unbiased_rmse <= 0.048
    assert tested.r >= 0.85
    assert tested.unbiased_rmse <= 0.040
    assert min(soil.by_year) == soil_moisture.LAST_TRAINING + 1
    year = site.year[np.isfinite(soil.cart_limit.measured)]
    assert year.min() > soil_moisture.LAST_TRAINING
    weeks = state_weeks(
        [site],
        [soil],
        pd.DataFrame(
            {
                "state": ["ND", "ND", "ZZ"],
                "days_suitable": [6.8, np.nan, 3.0],
                "week_ending": ["2012-09-30", "2012-10-07", "2012-10-07"],
            }
        ),
    )
    assert len(weeks) == 1
    assert 0.0 <= weeks["modelled"][0] <= 7.0
    found = validate.Validation(
        rows=validate.soil_rows([soil]),
        soils=[soil],
        weeks=weeks,
        et=[],
        after_rain=hours_after_rain(),
    )
    page = validation_page(found)
    assert page.count("<img alt=") == 3
    assert "ND_Jamestown_38_WSW" in page


# published conflict: the two families of strength relations differ by a factor of two or more
def test_page_shows_the_strength_of_both_families_at_the_limits() -> None:
    head, *lines = strength_lines()
    assert head[:5] == ("texture", "limit", "water 15-30 cm", "SMSP II", "Collins")
    assert len(lines) == 2 * 12
    ratio = [float(line[3]) / float(line[4]) for line in lines]
    assert max(ratio) > 2.0 or min(ratio) < 0.5
    page = validation_page(
        validate.Validation(
            rows=[], soils=[], weeks=pd.DataFrame(), et=[], after_rain=hours_after_rain()
        )
    )
    assert all(f"<td>{cell}</td>" in page for cell in lines[0])


# law: readings of the tested years do not change the calibration
@needs_data
def test_tested_years_do_not_leak() -> None:
    path = DATA / "soil_moisture" / "CRND0103_ND_Jamestown_38_WSW.csv.gz"
    site = stations.prepare_station(read_uscrn_daily(path))
    fit = soil_moisture.calibrate_station(site)
    site.daily.soil_water[:, site.year > soil_moisture.LAST_TRAINING] = 0.4
    again = soil_moisture.calibrate_station(site)
    assert fit is not None
    assert again is not None
    assert fit.land.sand == again.land.sand
    assert np.array_equal(fit.gain, again.gain)


@needs_data
@pytest.mark.slow
@pytest.mark.filterwarnings("ignore")  # the kernel's own notes, not ours
def test_notebook_runs() -> None:
    folder = ROOT / "notebooks"
    book = nbformat.read(folder / "validation.ipynb", as_version=4)
    assert not any(cell.get("outputs") for cell in book.cells)
    NotebookClient(book, timeout=180, resources={"metadata": {"path": str(folder)}}).execute()
    text = "".join(o.get("text", "") for c in book.cells for o in c.get("outputs", []))
    assert "reference ET, hourly, short" in text
