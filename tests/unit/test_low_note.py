"""A typed low bends tonight's curve, is scored by the night that came, and can be taken back or refused."""

import argparse
import os
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from sites import START_WALL_S, make_site
from watching import Watching

from coldbrood.brooder.typed_low import trust
from coldbrood.cli.note import add_parser
from coldbrood.codec import pack, unpack
from coldbrood.inbox import inbox_dir
from coldbrood.notes import BadNote, NoteForm, check_note
from coldbrood.settings.load import load
from coldbrood.watch.assess import outdoor_ahead
from coldbrood.watch.events import Bedtime, Note, Now
from coldbrood.watch.sight import Sight

HOUR_S = 3600.0


def typed(watching: Watching, text: str, key: str = "low-1") -> None:
    watching.do(Note(key, "low", None, watching.t_s, watching.wall_s, text=text))


def lowest(watching: Watching) -> tuple[float, float]:
    ahead = outdoor_ahead(watching.site, watching.state.sight, watching.now)
    at = int(np.argmin(ahead.mean_c[ahead.t_s < watching.t_s + 12 * HOUR_S]))
    return float(ahead.mean_c[at]), float(ahead.sd_c[at])


def evening(outdoor_c: float = 9.0) -> Watching:
    """The second day at 21:00, a few outdoor readings in."""
    watching = Watching(make_site(), START_WALL_S + 10 * HOUR_S)
    for _ in range(4):
        watching.send_c("box-a", 26.0)
        watching.send_c("outdoor", outdoor_c)
        watching.pass_s(900.0)
    return watching


def test_a_low_bends_the_night_and_leaves_the_evening() -> None:
    watching = evening()
    own_c, own_sd_c = lowest(watching)
    now_c = outdoor_ahead(watching.site, watching.state.sight, watching.now).mean_c[0]
    typed(watching, "-2")
    low_c, sd_c = lowest(watching)
    assert -2.0 < low_c < own_c - 1.0
    assert sd_c < own_sd_c
    assert outdoor_ahead(watching.site, watching.state.sight, watching.now).mean_c[0] == now_c


def test_a_cold_night_said_asks_for_an_earlier_refill() -> None:
    watching = evening()
    watching.do(Note("fill", "refill", "a", watching.t_s, watching.wall_s))
    watching.pass_s(1200.0)
    before = watching.state.views["a"].hold.median_s
    typed(watching, "-12")
    after = watching.state.views["a"].hold.median_s
    assert before is not None
    assert after is not None
    assert after < before


def test_the_night_that_came_scores_it() -> None:
    watching = evening()
    typed(watching, "3")
    for _ in range(4 * 12):
        after_h = (watching.wall_s - START_WALL_S) / HOUR_S - 11.0  # hours after 21:00
        watching.send_c("outdoor", 5.0 + 0.5 * abs(after_h - 8.0))
        watching.t_s, watching.wall_s = watching.t_s + 900.0, watching.wall_s + 900.0
    assert watching.state.sight.lows.tonight is None
    assert watching.state.sight.lows.errors_c == pytest.approx([-2.0], abs=0.13)
    bias, _ = trust(watching.state.sight.lows)
    assert bias == pytest.approx(-1.0, abs=0.1)


def test_bedtime_says_what_became_of_it() -> None:
    watching = evening()
    typed(watching, "2")
    sight = watching.state.sight
    sight = replace(sight, lows=replace(sight.lows, errors_c=(3.0,)))
    watching.state = replace(watching.state, sight=sight)
    watching.do(Bedtime())
    low_c, _ = lowest(watching)
    body = next(told.send.body for told in watching.told if told.send.key.startswith("bedtime"))
    assert f"You typed a low of 2 C; with my own readings I count on {low_c:.1f}".removesuffix(".0") in body
    assert "since 1 such were 1.5 C too high." in body
    without = evening()
    without.do(Bedtime())
    assert not any("You typed" in told.send.body for told in without.told)


def test_taken_back_it_bends_nothing() -> None:
    watching = evening()
    before = lowest(watching)
    typed(watching, "-5")
    assert lowest(watching) != before
    watching.do(Note("back", "withdraw", None, watching.t_s, watching.wall_s, text="low-1"))
    assert lowest(watching) == before


def test_it_is_in_the_history_and_survives_the_journal() -> None:
    watching = evening()
    typed(watching, "2.5")
    assert [line.detail for line in watching.history if line.state == "low"] == ["2.5"]
    sight = watching.state.sight
    assert unpack(pack(sight), Sight).lows == sight.lows
    body = pack(sight)[5:]  # a sight kept before there were sums, and before there were typed lows
    old = body.replace(b"\xa4lows", b"\xa4lowz")
    assert unpack(old, Sight).lows.tonight is None


@pytest.mark.parametrize("text", ["", "cold", "-41", "nan", "1e9"])
def test_what_is_no_low_is_refused_at_the_door_and_harmless_behind_it(text: str) -> None:
    with pytest.raises(BadNote, match=r"low: .*: a number, -40 to 35 C"):
        check_note(NoteForm(kind="low", text=text), make_site(), Now(5000.0, START_WALL_S, synced=True))
    watching = evening()
    before = lowest(watching)
    typed(watching, text)
    assert lowest(watching) == before


@pytest.mark.parametrize(
    ("unit", "value", "text"), [("C", "-3", "-3"), ("C", "2.5", "2.5"), ("F", "36.5", "2.5")]
)
def test_the_command_takes_it_in_the_unit_of_the_screens(
    unit: str, value: str, text: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    config = tmp_path / "coldbrood.toml"
    config.write_text(_wired(unit))
    parser = argparse.ArgumentParser()
    add_parser(parser.add_subparsers())
    args = parser.parse_args(["note", "--config", str(config), "low", value])
    assert args.run(args) == 0
    assert capsys.readouterr().out == "noted: low\n"
    left = list(inbox_dir(load(config, os.environ).journal_path).glob("*.json"))
    assert [f'"text":"{text}"' in path.read_text() for path in left] == [True]


def _wired(unit: str) -> str:
    """A config without secrets: one wired box, no broker, no channel."""
    return f"""
[site]
name = "larch-lane"
time_zone = "Etc/UTC"
latitude_deg = 50.0
longitude_deg = 0.0
[keeper]
unit = "{unit}"
[batch]
arrival = 2026-04-10
[[box]]
name = "a"
chicks = 16
length_m = 0.60
width_m = 0.45
height_m = 0.35
insulation_mm = 40
jug_litres = 3.8
[[probe]]
name = "box-a"
role = "box"
box = "a"
source = "onewire"
sensor_id = "28-0123456789ab"
[page]
enabled = false
[journal]
path = "journal.db"
"""
