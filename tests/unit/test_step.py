"""Promise: one event, one new state and its acts; silence never clears, nights are quiet, once is enough."""

from dataclasses import replace

import pytest
from sites import START_WALL_S, make_site
from watching import Watching

from coldbrood.watch.events import (
    Beat,
    Bedtime,
    ClockStepped,
    Event,
    History,
    JournalFailed,
    JournalWell,
    LinkDown,
    LinkUp,
    Morning,
    Note,
    Now,
    Retain,
    SendDone,
    Started,
    Tick,
)
from coldbrood.watch.state import first_state
from coldbrood.watch.step import HANDLERS, step

HOUR_S = 3600.0


def watching(at_h: float = 0.0, **site: object) -> Watching:
    """A watch that starts `at_h` hours after 10:00 UTC of the second day."""
    return Watching(make_site(**site), START_WALL_S + at_h * HOUR_S)  # type: ignore[arg-type] # plain pass-through


def steady(watch: Watching, hours: float, box_c: float = 24.0, outdoor_c: float = 12.0) -> None:
    """Readings each five minutes that say all is well."""
    for n in range(int(hours * 12)):
        watch.send_c("box-a", box_c + 0.0625 * (n % 3))
        watch.send_c("outdoor", outdoor_c + 0.0625 * (n % 2))
        watch.pass_s(300.0)


def heated(watch: Watching) -> None:
    """A refill just now, so that no refill is due for a while."""
    note(watch, "refill")


def state_of(watch: Watching, key: str) -> str:
    return watch.state.alarms[key].state


def note(watch: Watching, kind: str, **other: object) -> None:
    key = f"{kind}-{len(watch.history)}"
    plain = Note(key, kind, "a", watch.t_s, watch.wall_s, **other)  # type: ignore[arg-type] # any kind of note
    watch.do(plain)


EVENTS: list[Event] = [
    Beat(),
    Tick(),
    Bedtime(),
    Morning(),
    Retain(),
    Started(None, True),
    Started(4000.0, False, "aside"),
    ClockStepped(3600.0),
    LinkUp(),
    LinkDown("refused"),
    JournalFailed("disk full"),
    JournalWell(),
    SendDone("nobody", "accepted", ""),
]


def test_every_event_has_a_handler_and_the_first_state_takes_each() -> None:
    site = make_site("ab")
    now = Now(1000.0, START_WALL_S, synced=True)
    for event in EVENTS:
        state, _ = step(site, first_state(site, 1000.0), event, now)
        assert state.sight.boxes.keys() == {"a", "b"}
    assert {type(event) for event in EVENTS} | {Note} < set(HANDLERS)


def test_the_same_steps_give_the_same_state_and_acts() -> None:
    one, other = watching(), watching()
    for watch in (one, other):
        steady(watch, 2.0)
        note(watch, "refill")
        steady(watch, 1.0, box_c=26.0)
    assert one.shown == other.shown
    assert [t.send for t in one.told] == [t.send for t in other.told]
    assert one.history == other.history


def test_too_hot_is_told_at_the_second_sample_repeated_and_ended_by_the_box() -> None:
    watch = watching()
    heated(watch)
    steady(watch, 1.0, box_c=28.0)
    watch.send_c("box-a", 34.5)
    assert watch.titles() == []
    watch.pass_s(60.0)
    watch.send_c("box-a", 34.5)
    assert [title[:18] for title in watch.titles()] == ["Too hot: box A 34."]
    watch.pass_s(60.0)
    watch.send_c("box-a", 33.5)
    assert "too-hot/a" in [line.subject for line in watch.history if line.state == "unacknowledged"]
    for _ in range(13):
        watch.pass_s(60.0)
        watch.send_c("box-a", 31.0)
    assert watch.state.alarms["too-hot/a"].state == "normal"


def test_silence_of_the_box_probe_is_told_and_is_never_comfort() -> None:
    watch = watching()
    steady(watch, 1.0)
    for _ in range(2):
        watch.send_c("box-a", 34.5)
        watch.pass_s(60.0)
    assert watch.state.alarms["too-hot/a"].active
    watch.pass_s(6 * HOUR_S)
    assert watch.state.alarms["too-hot/a"].active, "silence never clears an alarm"
    assert "Cannot see box A: probe box-a silent" in watch.titles()
    assert watch.shown["a"]["estimated"] is True
    assert watch.shown["a"]["refill_reason"] in ("timetable-blind", "forecast-blind")
    assert any(title.startswith("Refill now: box A about") for title in watch.titles())
    assert watch.state.views["a"].box_sd_c > 0.5


def test_the_outdoor_probes_silence_makes_no_sound_at_night_and_waits_for_the_morning() -> None:
    watch = watching(at_h=9.0)
    steady(watch, 3.5)
    before = len(watch.titles())
    while watch.wall_s < START_WALL_S + 20.4 * HOUR_S:
        watch.send_c("box-a", 24.0 + 0.0625 * (int(watch.t_s) // 300 % 3))
        watch.pass_s(300.0)
    at_night = watch.titles()[before:]
    assert not any("outdoor" in title for title in at_night)
    watch.send_c("box-a", 24.0)
    watch.pass_s(600.0)
    (morning,) = [told.send for told in watch.told if told.send.key.startswith("morning/")]
    assert "No outdoor reading." in morning.body
    assert "No outdoor reading" not in watch.titles(), "told in the digest, not once more by itself"


def test_a_repeated_note_counts_once() -> None:
    watch = watching()
    once = Note(key="k", kind="loss", box="a", t_s=watch.t_s, wall_s=watch.wall_s)
    watch.do(once)
    watch.do(once)
    assert watch.state.sight.boxes["a"].chicks == 15


def test_huddled_chicks_raise_the_floor_at_once() -> None:
    watch = watching()
    steady(watch, 1.0)
    before = watch.shown["a"]["floor_c"]
    note(watch, "look-in", look_in="huddled")
    assert watch.shown["a"]["floor_c"] > before  # type: ignore[operator] # both are figures
    assert "huddled" in str(watch.shown["a"]["band_reason"])


def test_acknowledge_and_shelve_by_note_and_a_mistaken_one_changes_nothing() -> None:
    watch = watching()
    steady(watch, 1.0)
    for _ in range(2):
        watch.send_c("box-a", 34.5)
        watch.pass_s(60.0)
    note(watch, "acknowledge", alarm="too-hot/a")
    assert state_of(watch, "too-hot/a") == "acknowledged"
    note(watch, "shelve", alarm="too-hot/a", minutes=30.0)
    assert state_of(watch, "too-hot/a") == "shelved"
    note(watch, "acknowledge", alarm="no-such/thing")
    assert [line.state for line in watch.history].count("not-done") == 1
    watch.pass_s(31 * 60.0)
    assert state_of(watch, "too-hot/a") == "unacknowledged", "a shelf has an end"


def test_two_boxes_are_counted_at_dusk_once() -> None:
    watch = watching(at_h=7.0, boxes="ab")
    watch.pass_s(6 * HOUR_S)
    counts = [told.send for told in watch.told if told.send.title.startswith("Head count")]
    assert len(counts) == 1
    assert "box A 16, box B 16" in counts[0].body


def test_one_box_is_not_counted_at_dusk() -> None:
    watch = watching(at_h=7.0)
    watch.pass_s(6 * HOUR_S)
    assert not any("Head count" in title for title in watch.titles())


def test_a_box_of_too_few_is_said_once_in_all() -> None:
    watch = watching(at_h=11.0, chicks=8)
    for _ in range(2 * 24 * 12):
        watch.send_c("box-a", 24.0 + 0.0625 * (int(watch.t_s) // 300 % 3))
        watch.send_c("outdoor", 12.0)
        watch.pass_s(300.0)
    bodies = [told.send.body for told in watch.told if told.send.title.startswith("Morning")]
    assert len(bodies) == 2
    assert sum("has 8 chicks" in body for body in bodies) == 1


def test_the_brokers_absence_is_told_after_five_minutes_by_day() -> None:
    watch = watching()
    heated(watch)
    steady(watch, 0.5)
    watch.do(LinkDown("connection refused: is the broker running?"))
    watch.pass_s(240.0)
    assert watch.titles() == []
    watch.pass_s(120.0)
    (told,) = [told.send for told in watch.told if told.send.title.startswith("Cannot hear any probe")]
    assert "connection refused" in told.body


def test_a_failing_journal_is_told_and_its_recovery_ends_it() -> None:
    watch = watching()
    steady(watch, 0.5)
    watch.do(JournalFailed("no space left on the disk"))
    watch.pass_s(60.0)
    assert "The journal cannot be written" in watch.titles()
    watch.do(JournalWell())
    watch.pass_s(HOUR_S)
    assert not watch.state.alarms["journal-failing/larch-lane"].active


def test_a_gap_in_watching_is_told() -> None:
    watch = watching()
    watch.do(Started(7200.0, sure=True))
    watch.pass_s(60.0)
    (told,) = [told.send for told in watch.told if told.send.title == "I was down and am back"]
    assert "For 120 minutes nothing was watched" in told.body


def test_a_step_of_the_clock_changes_no_duration() -> None:
    still, stepped = watching(), watching()
    for watch in (still, stepped):
        steady(watch, 1.0)
    stepped.do(ClockStepped(1800.0))
    stepped.wall_s += 1800.0
    for watch in (still, stepped):
        watch.pass_s(1800.0)
    keep = ("state", "active", "raised_t_s", "told", "last_told_t_s")
    for key, alarm in still.state.alarms.items():
        assert [getattr(stepped.state.alarms[key], f) for f in keep] == [getattr(alarm, f) for f in keep]
    assert History("clock", "larch-lane", "stepped", "+1800.0 s") in stepped.history


def test_a_restart_finds_unchanged_alarms_and_tells_nothing_new() -> None:
    watch = watching()
    heated(watch)
    steady(watch, 1.0)
    for _ in range(2):
        watch.send_c("box-a", 34.5)
        watch.pass_s(30.0)
    told = len(watch.told)
    watch.do(Started(20.0, sure=True))
    watch.send_c("box-a", 34.5)
    watch.pass_s(15.0)
    assert len(watch.told) == told


def test_a_message_on_its_way_at_a_kill_is_sent_again_with_a_mark() -> None:
    watch = watching()
    heated(watch)
    steady(watch, 1.0)
    watch.outcome = "unknown"
    for _ in range(2):
        watch.send_c("box-a", 34.5)
        watch.pass_s(30.0)
    first = watch.told[0].send
    sending = replace(watch.state.outbox[first.key], state="sending")
    watch.state = replace(watch.state, outbox={first.key: sending})
    watch.told.clear()
    watch.outcome = "accepted"
    watch.do(Started(5.0, sure=True))
    (again,) = [told.send for told in watch.told]
    assert again.key == first.key
    assert again.title.endswith("(again?)")


@pytest.mark.parametrize("minute", [0, 2])
def test_what_waits_for_the_morning_is_not_told_one_by_one_just_before_the_digest(minute: int) -> None:
    from coldbrood.watch.tell import is_quiet

    rising = START_WALL_S - 3.5 * HOUR_S + minute * 60.0
    assert is_quiet(make_site(), Now(0.0, rising, True)) is (minute < 2)


def test_what_may_not_wake_and_found_no_way_out_by_day_rests_at_night() -> None:
    """Neither tried again nor taken on by the next channel before the morning; what wakes is."""
    watch = watching(at_h=11.7)
    heated(watch)
    watch.outcome = "try-again"
    tries: dict[str, list[float]] = {}
    for n in range(9 * 12):
        watch.told.clear()
        watch.send_c("box-a", 24.0 + 0.0625 * (n % 3))
        watch.pass_s(300.0)
        for told in watch.told:
            tries.setdefault(told.send.key.partition("/")[0], []).append(told.wall_s)
    at_h = [(wall_s - START_WALL_S) / HOUR_S + 10.0 for wall_s in tries["no-outdoor"]]
    assert at_h[0] < 22.0, "it was begun by day"
    assert not [hour for hour in at_h if 22.0 <= hour < 30.5]
    assert at_h[-1] >= 30.5, "and goes on in the morning"
    waking = [(wall_s - START_WALL_S) / HOUR_S + 10.0 for wall_s in tries["refill-now"]]
    assert any(22.5 < hour < 30.0 for hour in waking), "what wakes is tried all night"
