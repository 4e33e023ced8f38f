"""Promise: every help text and the status screen fit 80 columns, and say what is not known."""

import argparse
from collections.abc import Iterator
from dataclasses import replace

import pytest
from sites import START_WALL_S, make_site
from views import T_S, make_view

from coldbrood.cli.main import build_parser
from coldbrood.cli.status import ago_text, screen
from coldbrood.peek import Peek
from coldbrood.watch.boxstate import shown
from coldbrood.watch.events import Now
from coldbrood.watch.state import first_state

SITE = make_site()
NOW = Now(T_S, START_WALL_S, synced=True)


def parsers() -> Iterator[tuple[str, argparse.ArgumentParser]]:
    top = build_parser()
    yield "coldbrood", top
    for action in top._subparsers._group_actions:  # type: ignore[union-attr] # argparse has no public way
        yield from action.choices.items()  # type: ignore[union-attr] # a dict of parsers


@pytest.mark.parametrize(
    ("verb", "parser"), list(parsers()), ids=lambda value: value if isinstance(value, str) else ""
)
def test_help_fits_a_narrow_terminal(
    verb: str, parser: argparse.ArgumentParser, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLUMNS", "80")
    longest = max(parser.format_help().splitlines(), key=len)
    assert len(longest) <= 80, longest
    assert "example" in parser.format_help()


def peeked(**view: object) -> Peek:
    body = shown(SITE, first_state(SITE, T_S), make_view(**view), NOW)
    probe = {
        "probe": "box-a",
        "temperature_c": 19.75,
        "heard_s_ago": 61,
        "battery_pct": 80.0,
        "battery_v": None,
    }
    silent = {
        "probe": "outdoor",
        "temperature_c": None,
        "heard_s_ago": None,
        "battery_pct": None,
        "battery_v": None,
    }
    return Peek(
        site="larch-lane",
        wall_s=START_WALL_S,
        running=True,
        boxes=(body,),
        probes=({**probe, "refused": {"jump": 2}}, {**silent, "refused": {}}),
        alarms=("refill-now/a: unacknowledged: forecast",),
    )


def test_status_is_one_screen_of_plain_words() -> None:
    assert screen(SITE, peeked()) == [
        "larch-lane  10:00  daemon runs",
        "",
        "box A: all right",
        "  box          19.8 C, falling 1.2 C an hour",
        "  floor        18 C, ceiling 32 C",
        "  outside      4 C",
        "  refill by    12:00, by forecast",
        "  under floor  12:30 to 13:50",
        "  last fill    06:30",
        "  chicks       16, chicks of day 1",
        "",
        "probe box-a: 19.8 C, 1 min ago, battery 80 %, refused jump 2",
        "probe outdoor: not known, never heard",
        "",
        "alarms:",
        "  refill-now/a: unacknowledged: forecast",
    ]


def test_what_is_not_known_is_said_and_other_days_have_a_date() -> None:
    unknown = peeked(
        box_c=None,
        blind=True,
        estimated=True,
        outdoor_c=None,
        refill_by_s=T_S - 3 * 86_400.0,
        refill_t_s=None,
    )
    lines = screen(SITE, unknown)
    assert "box A: cannot see" in lines
    assert "  box          not known, falling 1.2 C an hour" in lines
    assert "  outside      not known" in lines
    assert "  refill by    2026-04-08 10:00, by forecast" in lines
    assert "  last fill    not seen yet" in lines


def test_ages() -> None:
    assert [ago_text(s) for s in (0, 3600, 7200, 200_000)] == [
        "0 min ago",
        "60 min ago",
        "2 h ago",
        "2 days ago",
    ]


def test_without_a_batch_the_screen_says_that_nothing_is_watched() -> None:
    lines = screen(SITE, replace(peeked(), boxes=(), alarms=()))
    assert lines[2] == "No batch is open, so no box is watched: coldbrood batch start begins one."
