"""Climate from a user's files: a station's table and daily weather, and one line for each fault in
them."""

import sys

import numpy as np
import pandas as pd
import pytest
from water_cases import ETO_51_1, parks, water_rules

from geoturf import water
from geoturf.errors import BidError, InputError
from geoturf.units import INCH_M


def station(tmp_path, text):
    (tmp_path / "station.csv").write_text(text, encoding="utf-8")
    rules = water_rules(
        climate={"table": "station.csv", "effective_rain": "fixed"}, offer=["planting"]
    )
    return water.compare(parks(1_000), None, rules, "USD", folder=str(tmp_path))


TWELVE = "".join(f"{m + 1},{eto.split()[0]},0.5\n" for m, eto in enumerate(ETO_51_1))


def test_a_stations_table(tmp_path):
    found = station(tmp_path, "month,eto_in,rain_in\n" + TWELVE)
    assert found.monthly["eto_m"].sum() / INCH_M == pytest.approx(51.1)
    assert found.monthly["rain_m"].sum() / INCH_M == pytest.approx(6.0)
    assert "station.csv" in found.summary["climate"]


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (
            "month,eto_in,rain_in\n" + TWELVE.replace("3,3.3,0.5\n", "", 1),
            r"station\.csv: has no Mar; all twelve",
        ),
        (
            "month,eto_in,rain_in\n" + TWELVE.replace("0.5", "-0.5", 1),
            r"line 2: rain -0\.5 is negative",
        ),
        (
            "month,eto_in,rain_in\n" + TWELVE.replace("4.8", "lots", 1),
            r"line 5: ETo 'lots' is not a number",
        ),
        ("month,eto_in,rain_in\n" + TWELVE.replace("12,", "1,", 1), r"line 13: Jan stands twice"),
        ("month,eto_in,rain_in\n" + TWELVE.replace("12,", "13,", 1), r"line 13: '13' is no month"),
        (
            "month,eto,rain_in\n" + TWELVE,
            r"needs a column eto_in or eto_mm \(it has: month, eto, rain_in\)",
        ),
        ("", r"needs a column eto_in or eto_mm \(it has: no rows\)"),
        (
            "month,eto_cm\n" + "".join(f"{m},90\n" for m in range(1, 13)),
            r"ETo of 900 mm in Jan is more than any place",
        ),
    ],
)
def test_a_faulty_station_is_one_line(tmp_path, text, said):
    with pytest.raises(InputError, match=said) as refusal:
        station(tmp_path, text)
    assert len(str(refusal.value).splitlines()) == 1


def test_a_missing_station_is_one_line(tmp_path):
    rules = water_rules(climate={"table": "none.csv"}, offer=["planting"])
    with pytest.raises(InputError, match=r"none\.csv: there is no such file beside the bid"):
        water.compare(parks(1), None, rules, "USD", folder=str(tmp_path))


def weather(tmp_path, drop=(), **over):
    """A year of FAO-56 example 18's day, 6 July in Uccle, on every date."""
    days = pd.date_range("2025-01-01", "2025-12-31")
    day = {
        "tmax_c": 21.5,
        "tmin_c": 12.3,
        "wind_m_s": 2.078,
        "rhmax_pct": 84,
        "rhmin_pct": 63,
        "solar_mj_m2": 22.07,
        "rain_mm": 1.0,
    }
    table = (
        pd.DataFrame(day | over, index=days)
        .drop(columns=list(drop))
        .rename_axis("date")
        .reset_index()
    )
    table.assign(date=table["date"].dt.strftime("%Y-%m-%d")).to_csv(
        tmp_path / "weather.csv", index=False
    )
    climate = {
        "weather": "weather.csv",
        "latitude": 50.80,
        "elevation": "100 m",
        "effective_rain": "fixed",
    }
    return water.compare(
        parks(1_000),
        None,
        water_rules(climate=climate, offer=["planting"]),
        "USD",
        folder=str(tmp_path),
    )


def test_daily_weather_becomes_months(tmp_path):
    """FAO-56 example 18: 3.88 mm on 6 July; July of such days (Ra differs a little) has some 31
    times that."""
    found = weather(tmp_path).monthly
    assert found["eto_m"].iloc[6] * 1000 / 31 == pytest.approx(3.88, abs=0.05)
    np.testing.assert_allclose(
        found["rain_m"] * 1000, [31, 28.25, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31]
    )


def test_without_the_weather_extra_one_line_says_what_to_install(tmp_path, monkeypatch):
    monkeypatch.setitem(sys.modules, "pyet", None)
    with pytest.raises(
        BidError, match=r"needs the weather extra: pip install 'geoturf\[weather\]'"
    ):
        weather(tmp_path)


@pytest.mark.parametrize(
    ("drop", "over", "said"),
    [
        (("wind_m_s",), {}, r"weather\.csv: needs a column wind_m_s"),
        (("solar_mj_m2",), {}, "needs a column solar_mj_m2 or sunshine_h"),
        (("rhmin_pct",), {}, "has rhmax_pct but no rhmin_pct"),
        ((), {"rain_mm": -1.0}, r"line 2: rain_mm -1\.0 is negative"),
        ((), {"tmax_c": 190}, "line 2: tmax_c '190' is no air temperature"),
    ],
)
def test_faulty_weather_is_one_line(tmp_path, drop, over, said):
    with pytest.raises(InputError, match=said):
        weather(tmp_path, drop, **over)
