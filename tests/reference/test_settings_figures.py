"""Promise: the figures that defaults and cautions rest on are those of their sources."""

import math
from pathlib import Path

import pytest
from iapws import IAPWS97

from coldbrood.settings.cautions import HOT_FILL_C, cautions, scald_s, scald_words
from coldbrood.settings.load import load
from coldbrood.settings.schema import File
from coldbrood.settings.setting import Setting, settings_of
from coldbrood.settings.tables_box import BoxTable, KeeperTable
from coldbrood.settings.walk import Walk

LEAST = Path(__file__).parents[2] / "fixtures" / "configs" / "good" / "least.toml"
BOX = {"length_m": 0.75, "width_m": 0.55, "height_m": 0.4, "insulation_mm": 30, "jug_litres": 3.8}


def file(**box: object) -> File:
    walk = Walk(
        {
            "site": {"name": "s", "time_zone": "Etc/UTC", "latitude_deg": 50, "longitude_deg": 0},
            "batch": {"arrival": "2026-04-11"},
            "box": [{"name": "a", "chicks": 16, **BOX, **box}],
            "probe": [{"name": "p", "role": "box", "box": "a"}, {"name": "o", "role": "outdoor"}],
            "broker": {},
            "channel": [{"name": "phone", "url_env": "PHONE_URL"}],
        }
    )
    assert walk.problems == []
    return walk.file


def told(**box: object) -> list[str]:
    return [str(caution) for caution in cautions(file(**box))]


# Full-thickness scald in adults, US safety commission's wording [V: SCALD, reference/poultry.md section 6].
@pytest.mark.parametrize(("water_c", "seconds"), [(65.6, 2.0), (54.4, 30.0), (48.9, 300.0)])
def test_scald_is_never_slower_than_the_published_table(water_c: float, seconds: float) -> None:
    assert scald_s(water_c) <= seconds + 1e-9


# The regression on Moritz and Henriques 1947 [V: PLOS; C: 524 s at 49, 20 s at 55, 1.7 s at 60].
@pytest.mark.parametrize(("water_c", "seconds"), [(49.0, 524.0), (55.0, 20.0), (60.0, 1.7)])
def test_scald_is_never_slower_than_the_published_regression(water_c: float, seconds: float) -> None:
    assert scald_s(water_c) <= seconds * 1.03  # the sheet gives two figures


def test_the_shorter_source_is_shown_where_they_disagree() -> None:
    assert scald_s(60.0) == pytest.approx(1.7, abs=0.05)  # regression 1.7 against 6 [V: PLOS, SCALD]
    assert scald_s(48.9) == pytest.approx(300.0)  # table 300 against about 550 [V: SCALD, PLOS]


def test_hotter_water_never_scalds_more_slowly() -> None:
    times = [scald_s(tenth / 10) for tenth in range(440, 1000)]
    assert times == sorted(times, reverse=True)


# Check value 15 of reference/poultry.md [V: SCALD, PLOS; 44 M].
def test_scald_in_words() -> None:
    assert scald_words(60.0) == "scalds in 2 seconds"
    assert scald_words(49.0).endswith("minutes")
    assert scald_words(75.0) == "scalds in under a second"
    assert scald_words(43.9) == ""
    assert math.isinf(scald_s(43.9))


# Hot-fill guidance of common jug plastics [V: FILL, reference/poultry.md section 6].
def test_a_fill_is_held_against_the_plastic_of_the_jug() -> None:
    assert HOT_FILL_C == {"PET": 49.0, "LDPE": 49.0, "PVC": 60.0, "HDPE": 63.0, "PP": 74.0}
    assert not any("hot-fill" in line for line in told(jug_plastic="HDPE", fill_c=63))
    assert any(line.endswith("for jugs of HDPE (63 C)") for line in told(jug_plastic="HDPE", fill_c=63.1))
    assert any(line.endswith("for jugs of PET (49 C)") for line in told(jug_plastic="PET", fill_c=60))
    assert any("PP (74 C)" in line for line in told(fill_c=80))


def test_the_default_fill_is_under_the_guidance_for_the_usual_jug() -> None:
    default = settings_of(BoxTable)["fill_c"].default
    assert isinstance(default, float)
    assert default < HOT_FILL_C["HDPE"]


# The lead: 3.8 L from 10 to 80 C is 1113 kJ by IAPWS-IF97 [C], so 12 min at 1.5 kW.
def test_the_default_lead_leaves_time_to_heat_the_water() -> None:
    cold, hot = (IAPWS97(T=c + 273.15, P=0.101325) for c in (10.0, 80.0))
    joules = 3.8e-3 * cold.rho * (hot.h - cold.h) * 1000.0
    assert joules / 1000.0 == pytest.approx(1112.6, abs=1.0)
    minutes = joules / 1500.0 / 60.0
    assert minutes == pytest.approx(12.4, abs=0.1)
    lead: Setting = settings_of(KeeperTable)["lead_min"]
    assert isinstance(lead.default, float)
    assert lead.default > 2 * minutes


# Air: 20 day-olds of 40 g at 20 C give 0.56 W each [CIGR 2002, M], 0.185 m3 CO2 an hour for each 1000 W
# [CIGR, M]; limit 0.3 % at the bird [V: LBG, reference/poultry.md section 1]; outside 0.04 % [M].
def test_the_default_air_change_keeps_the_air_of_twenty_chicks_fit() -> None:
    co2_m3_per_h = 0.185 * 20 * 0.56 / 1000.0
    needed_per_h = co2_m3_per_h / (0.003 - 0.0004) / (0.75 * 0.55 * 0.40)
    assert needed_per_h == pytest.approx(4.8, abs=0.1)  # the schema says about 5
    default = settings_of(BoxTable)["air_changes_per_h"].default
    assert isinstance(default, float)
    assert default > needed_per_h


# EPS board, 90/90 value of one grade [V: NZ, reference/physics.md section 3].
def test_the_default_insulation_is_eps() -> None:
    spec = load(LEAST, {"PHONE_URL": "json://127.0.0.1:9/"}).site.boxes["a"]
    assert spec.insulation_w_per_mk == 0.038
