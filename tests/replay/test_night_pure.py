"""Promise: a whole night says exactly what it must, when it must, on each channel, and nothing else.

The pure watch from 16:00 to 08:00: bytes through the door, no threads, no sleeping, the same list every time.
"""

import time
from collections import Counter
from dataclasses import dataclass, field, replace
from datetime import date
from functools import cache

import pytest
from night import (
    HOUR_S,
    MILD_WEATHER,
    MINUTE_S,
    TRUE,
    House,
    PlayedNight,
    Story,
    only_under_an_open_lid,
)
from sites import box_spec, make_site
from watching import START_T_S, Told, Watching

from coldbrood.codec import pack
from coldbrood.watch.events import History, Note
from coldbrood.watch.site import Site

KEEPER_TAKES_S = 20 * MINUTE_S  # demo/keeper.py: from the nudge to the hot jug
SEEN_WITHIN_S = 10 * MINUTE_S
TIMETABLE_S = 4 * HOUR_S  # the first three days; common practice, no source
COLD_MINUTES = (
    10  # of box B after rising, while the keeper takes 20 to come: the price of two wakings, not three
)
LEAD_S = 1800.0  # of the keeper in sites.py

# The tables hold every message: time, channel, title | reason. Where the estimate changed for a good reason,
# PYTHONPATH=tests/helpers .venv/bin/python tests/replay/test_night_pure.py
# prints the nights in this form: argue each line that moved, then put it here.

# 22:00: the jug of 16:00 is spent near midnight, and no fill lasts from then to the morning; one now may, by
# what six hours taught, go so little under the floor that it is not worth a waking. At 02:45 the readings
# know better: it will be under it near 03:30, for the rest of the night. The keeper takes 20 minutes, in
# which the nudge comes again each 10, the second time on the next channel too (watch/conditions.py). What the
# jug of 03:08 leaves is asked for in the morning.
COLD = """
22:00:00 phone-1 One fill now, then sleep: box A | bedtime
02:45:45 phone-1 Refill now: box A 22.9 C, floor 21.1 | forecast
02:55:45 phone-1 Refill now: box A 22.8 C, floor 21.1 | forecast
03:05:45 phone-1 Refill now: box A 22.1 C, floor 21.1 | forecast
03:05:45 phone-2 Refill now: box A 22.1 C, floor 21.1 | forecast
06:30:00 phone-1 Fill now, first thing: box A | morning
"""
# Chicks of ten days, whose floor is 15 C, and 13 C or more outside: the jug of 16:00 lasts the night.
MILD = """
22:00:00 phone-1 Sleep through: box A | bedtime
06:30:00 phone-1 Morning: woken not at all | morning
"""
# Up to the nudge the cold night. Then nobody comes: after 45 minutes "No refill seen" takes over, beginning
# with the first channel; repeats each 10 minutes, after six of them each 20. Under the hard floor of 16.1 C
# it is "Too cold", each 4 minutes. The keeper is up at 06:45, hears that of 06:46, and refills 10 minutes
# later, before it comes a fifth time.
ALONE = """
22:00:00 phone-1 One fill now, then sleep: box A | bedtime
02:45:45 phone-1 Refill now: box A 22.9 C, floor 21.1 | forecast
02:55:45 phone-1 Refill now: box A 22.8 C, floor 21.1 | forecast
03:05:45 phone-1 Refill now: box A 22.3 C, floor 21.1 | forecast
03:05:45 phone-2 Refill now: box A 22.3 C, floor 21.1 | forecast
03:15:45 phone-1 Refill now: box A 21.9 C, floor 21.1 | forecast
03:15:45 phone-2 Refill now: box A 21.9 C, floor 21.1 | forecast
03:25:45 phone-1 Refill now: box A 21.2 C, floor 21.1 | forecast
03:25:45 phone-2 Refill now: box A 21.2 C, floor 21.1 | forecast
03:31:45 phone-1 No refill seen: box A 21.2 C | no-rise-after-nudge
03:41:45 phone-1 No refill seen: box A 21.1 C | no-rise-after-nudge
03:41:45 phone-2 No refill seen: box A 21.1 C | no-rise-after-nudge
03:51:45 phone-1 No refill seen: box A 20.4 C | no-rise-after-nudge
03:51:45 phone-2 No refill seen: box A 20.4 C | no-rise-after-nudge
04:01:45 phone-1 No refill seen: box A 20.1 C | no-rise-after-nudge
04:01:45 phone-2 No refill seen: box A 20.1 C | no-rise-after-nudge
04:11:45 phone-1 No refill seen: box A 19.9 C | no-rise-after-nudge
04:11:45 phone-2 No refill seen: box A 19.9 C | no-rise-after-nudge
04:21:45 phone-1 No refill seen: box A 19.4 C | no-rise-after-nudge
04:21:45 phone-2 No refill seen: box A 19.4 C | no-rise-after-nudge
04:41:45 phone-1 No refill seen: box A 18.8 C | no-rise-after-nudge
04:41:45 phone-2 No refill seen: box A 18.8 C | no-rise-after-nudge
05:01:45 phone-1 No refill seen: box A 18 C | no-rise-after-nudge
05:01:45 phone-2 No refill seen: box A 18 C | no-rise-after-nudge
05:21:45 phone-1 No refill seen: box A 17.5 C | no-rise-after-nudge
05:21:45 phone-2 No refill seen: box A 17.5 C | no-rise-after-nudge
05:41:45 phone-1 No refill seen: box A 17.1 C | no-rise-after-nudge
05:41:45 phone-2 No refill seen: box A 17.1 C | no-rise-after-nudge
06:01:45 phone-1 No refill seen: box A 16.8 C | no-rise-after-nudge
06:01:45 phone-2 No refill seen: box A 16.8 C | no-rise-after-nudge
06:21:45 phone-1 No refill seen: box A 16.3 C | no-rise-after-nudge
06:21:45 phone-2 No refill seen: box A 16.3 C | no-rise-after-nudge
06:30:00 phone-1 Fill now, first thing: box A | morning
06:42:00 phone-1 Too cold: box A 16 C, refill now | under-hard-floor
06:46:00 phone-1 Too cold: box A 16.1 C, refill now | under-hard-floor
06:46:00 phone-2 Too cold: box A 16.1 C, refill now | under-hard-floor
06:50:00 phone-1 Too cold: box A 16.1 C, refill now | under-hard-floor
06:50:00 phone-2 Too cold: box A 16.1 C, refill now | under-hard-floor
06:54:00 phone-1 Too cold: box A 15.9 C, refill now | under-hard-floor
06:54:00 phone-2 Too cold: box A 15.9 C, refill now | under-hard-floor
"""
# The probe falls silent at 01:00. A sleeping keeper is told of silence after an hour, then each hour, from
# the third time on both channels. The timetable asks for a refill 4 h after that of 22:10, so the nudge comes
# half an hour before 02:10, at the second look, and twice before the keeper is there; and again 4 h after
# the refill that the keeper then taps in.
BLIND = """
22:00:00 phone-1 One fill now, then sleep: box A | bedtime
01:41:30 phone-1 Refill now: box A about 26.7 C, floor 21.1 | timetable-blind
01:51:30 phone-1 Refill now: box A about 26.1 C, floor 21.1 | timetable-blind
01:59:15 phone-1 Cannot see box A: probe box-a silent | silent
02:59:15 phone-1 Cannot see box A: probe box-a silent | silent
03:59:15 phone-1 Cannot see box A: probe box-a silent | silent
03:59:15 phone-2 Cannot see box A: probe box-a silent | silent
04:59:15 phone-1 Cannot see box A: probe box-a silent | silent
04:59:15 phone-2 Cannot see box A: probe box-a silent | silent
05:32:00 phone-1 Refill now: box A about 25.3 C, floor 21.1 | timetable-blind
05:42:00 phone-1 Refill now: box A about 24.9 C, floor 21.1 | timetable-blind
05:52:00 phone-1 Refill now: box A about 24.6 C, floor 21.1 | timetable-blind
05:52:00 phone-2 Refill now: box A about 24.6 C, floor 21.1 | timetable-blind
05:59:15 phone-1 Cannot see box A: probe box-a silent | silent
05:59:15 phone-2 Cannot see box A: probe box-a silent | silent
06:30:00 phone-1 Morning: woken 3 times | morning
06:59:15 phone-1 Cannot see box A: probe box-a silent | silent
06:59:15 phone-2 Cannot see box A: probe box-a silent | silent
07:59:15 phone-1 Cannot see box A: probe box-a silent | silent
07:59:15 phone-2 Cannot see box A: probe box-a silent | silent
"""
# Heads are counted at sunset, 18:47 (tests/reference/test_sun_times.py holds it to others). Box B leaks more
# and is due before box A, so the keeper is woken twice, once for each. What they ask for before rising is not
# worth a third waking (brooder/waking.py), so the morning's message asks for it first.
TWO = """
18:47:15 phone-1 Head count: each box at dusk | dusk
22:00:00 phone-1 One fill now, up at 02:30: box B | bedtime
02:03:45 phone-1 Refill now: box B 22.9 C, floor 21.1 | forecast
02:13:45 phone-1 Refill now: box B 21.9 C, floor 21.1 | forecast
02:23:45 phone-1 Refill now: box B 21.9 C, floor 21.1 | forecast
02:23:45 phone-2 Refill now: box B 21.9 C, floor 21.1 | forecast
02:45:45 phone-1 Refill now: box A 22.9 C, floor 21.1 | forecast
02:55:45 phone-1 Refill now: box A 22.8 C, floor 21.1 | forecast
03:05:45 phone-1 Refill now: box A 22.1 C, floor 21.1 | forecast
03:05:45 phone-2 Refill now: box A 22.1 C, floor 21.1 | forecast
06:30:00 phone-1 Fill now, first thing: box A, box B | morning
06:31:00 phone-1 Refill now: box B 21.8 C, floor 21.1 | forecast
06:41:00 phone-1 Refill now: box B 21.4 C, floor 21.1 | forecast
06:51:00 phone-1 Refill now: box B 21.2 C, floor 21.1 | forecast
06:51:00 phone-2 Refill now: box B 21.2 C, floor 21.1 | forecast
"""


@dataclass
class Watched:
    """One night with its watch. `lines` are its messages in the form of the tables."""

    site: Site
    watch: Watching
    night: PlayedNight
    lines: list[str] = field(default_factory=list)
    history: list[tuple[float, History]] = field(default_factory=list)
    _told: int = 0
    _changes: int = 0

    @property
    def at_s(self) -> float:
        """Seconds since 16:00."""
        return self.watch.t_s - START_T_S

    def house(self, box: str = "a") -> House:
        """The true box."""
        return self.night.houses[box]

    def play(self) -> None:
        """From 16:00 to 08:00."""
        for box in self.site.boxes:
            self._note_refill(box, self.night.story.first_fill_c)
        for _ in self.watch.beats(START_T_S + self.night.story.lasts_s):
            if self.at_s % MINUTE_S == 0.0:
                self._minute()
            self._catch_up()

    def _minute(self) -> None:
        self.night.go_on(self.at_s)
        for box in self.night.take_notes():
            self._note_refill(box, self.night.story.fill_c)
        for probe, celsius in self.night.readings():
            self.watch.send_c(probe, celsius)

    def _note_refill(self, box: str, fill_c: float) -> None:
        key = f"refill-{box}-{self.at_s:.0f}"
        self.watch.do(Note(key, "refill", box, t_s=self.watch.t_s, wall_s=self.watch.wall_s, fill_c=fill_c))

    def _catch_up(self) -> None:
        for told in self.watch.told[self._told :]:
            self.lines.append(self._line(told))
            self.night.told(told.send.title, told.send.body)
        self.history += [(self.at_s, line) for line in self.watch.history[self._changes :]]
        self._told, self._changes = len(self.watch.told), len(self.watch.history)

    def _line(self, told: Told) -> str:
        about = self.watch.state.outbox[told.send.key].about
        alarm = self.watch.state.alarms.get(about)
        reason = about.partition("/")[0] if alarm is None else alarm.reason
        return f"{clock(told.wall_s)} {told.send.channel} {told.send.title} | {reason}"

    def first_s(self, words: str) -> float:
        """When the first message came whose title begins so, in seconds since 16:00."""
        return min(one.t_s for one in self.watch.told if one.send.title.startswith(words)) - START_T_S

    def changes(self, alarm: str) -> list[str]:
        """What became of one alarm, in order."""
        mine = [line for _, line in self.history if line.kind == "alarm" and line.subject == alarm]
        return [f"{line.detail.partition(' ')[0]} {line.reason}" for line in mine]

    def seen_refills_s(self, box: str = "a") -> list[float]:
        """When the watch saw a refill by itself."""
        return [at for at, line in self.history if line.subject == box and line.state == "seen"]


def clock(wall_s: float) -> str:
    return time.strftime("%H:%M:%S", time.gmtime(wall_s))


def watched(story: Story, arrival: date = date(2026, 4, 10)) -> Watched:
    site = make_site("".join(story.boxes))
    site = replace(site, batch=replace(site.batch, arrival=arrival))
    made = Watched(site, Watching(site, story.starts_wall_s), PlayedNight(story))
    made.play()
    return made


NINE_DAYS = date(2026, 4, 2)
STORIES = {
    "cold": Story(),
    "mild": Story(MILD_WEATHER, age_days=9 + 16 / 24, first_fill_c=50.0),
    # Asleep from an hour after bedtime to 06:45: the repeat of 06:55 finds the keeper up.
    "alone": Story(asleep_s=(7 * HOUR_S, 14.75 * HOUR_S)),
    "blind": Story(silent_s={"box-a": 9 * HOUR_S}, taps_in=True),
    "two": Story(boxes={"a": TRUE, "b": replace(TRUE, spec=box_spec("b"), leak_factor=1.6)}),
}
TABLES = {"cold": COLD, "mild": MILD, "alone": ALONE, "blind": BLIND, "two": TWO}
TOTALS: dict[str, dict[str, int]] = {
    "cold": {"phone-1": 5, "phone-2": 1},
    "mild": {"phone-1": 2},
    "alone": {"phone-1": 23, "phone-2": 17},
    "blind": {"phone-1": 14, "phone-2": 6},
    "two": {"phone-1": 12, "phone-2": 3},
}


def anew(name: str) -> Watched:
    return watched(STORIES[name], NINE_DAYS if name == "mild" else date(2026, 4, 10))


night = cache(anew)


@pytest.mark.parametrize("name", STORIES)
def test_the_whole_timeline_and_its_total(name: str) -> None:
    lines = night(name).lines
    assert lines == TABLES[name].strip().splitlines(), "the night as it is now:\n" + "\n".join(lines)
    assert Counter(line.split()[1] for line in lines) == TOTALS[name]


def test_a_second_run_is_the_same_byte_for_byte() -> None:
    one, other = night("cold"), anew("cold")
    assert [pack(told.send) for told in one.watch.told] == [pack(told.send) for told in other.watch.told]
    assert one.lines == other.lines
    assert one.history == other.history
    assert pack(one.watch.state) == pack(other.watch.state)


def test_cold_the_nudge_comes_while_there_is_time_to_walk_and_the_box_never_gets_cold() -> None:
    cold, unanswered = night("cold"), night("alone")
    would_be_cold_s = unanswered.house().under_floor_s[0]
    assert would_be_cold_s - cold.first_s("Refill now") >= KEEPER_TAKES_S
    assert only_under_an_open_lid(cold.house())


@pytest.mark.parametrize("name", ["cold", "two"])
def test_the_box_itself_tells_of_each_refill_and_that_answers_the_nudge(name: str) -> None:
    played = night(name)
    for box, house in played.night.houses.items():
        late_s = [seen - done for seen, done in zip(played.seen_refills_s(box), house.refills_s, strict=True)]
        assert all(0.0 <= late <= SEEN_WITHIN_S for late in late_s)
        changes = [line for line in played.changes(f"refill-now/{box}") if not line.startswith("reason ")]
        nudges = len(changes) // 3
        assert nudges >= 1
        assert changes == nudges * ["raise forecast", "acknowledge refill-seen", "clear forecast"]
    assert not any(alarm.active for alarm in played.watch.state.alarms.values())


def test_mild_no_refill_is_asked_for_and_none_was_needed() -> None:
    mild = night("mild")
    assert mild.house().refills_s == []
    assert mild.house().under_floor_s == []
    assert mild.watch.state.alarms.get("refill-now/a") is None or mild.changes("refill-now/a") == []


def test_alone_the_nudge_goes_to_the_next_channel_and_is_taken_over_after_45_minutes() -> None:
    alone = night("alone")
    nudges, taken_over = alone.first_s("Refill now"), alone.first_s("No refill seen")
    assert 45 * MINUTE_S <= taken_over - nudges <= 47 * MINUTE_S
    assert not any(
        told.send.title.startswith("Refill now")
        for told in alone.watch.told
        if told.t_s - START_T_S >= taken_over
    )
    channels = [line.split()[1] for line in alone.lines if "Refill now" in line]
    assert channels[:4] == ["phone-1", "phone-1", "phone-1", "phone-2"]


def test_alone_no_ten_minutes_hold_more_than_ten_messages() -> None:
    """The limit of an alarm flood: EEMUA 191 / ISA-18.2, reference/standards.md section 1 [V]."""
    times_s = [told.t_s for told in night("alone").watch.told]
    assert max(sum(0.0 <= other - at < 600.0 for other in times_s) for at in times_s) <= 10


def test_alone_the_worst_is_critical_and_the_keeper_who_wakes_at_last_ends_it() -> None:
    alone = night("alone")
    (done_s,) = [at for at in alone.house().refills_s if at > 7 * HOUR_S]
    assert alone.house().under_floor_s[0] < done_s
    assert alone.changes("under-hard-floor/a") == [
        "raise under-hard-floor",
        "acknowledge refill-seen",
        "clear under-hard-floor",
    ]
    assert {told.send.urgency for told in alone.watch.told if told.send.title.startswith("Too cold")} == {4}
    assert not any(alarm.active for alarm in alone.watch.state.alarms.values())


def test_blind_a_refill_is_never_asked_for_later_than_the_timetable_and_is_said_to_be_an_estimate() -> None:
    blind = night("blind")
    silent_s = blind.night.story.silent_s["box-a"]
    asked_s = [
        at
        for at, line in blind.history
        if line.detail == "raise from normal" and "refill-now" in line.subject
    ]
    filled_s = blind.house().refills_s
    due_s = [max(at for at in filled_s if at < asked) + TIMETABLE_S for asked in asked_s]
    assert [asked <= due - LEAD_S + 2 * MINUTE_S for asked, due in zip(asked_s, due_s, strict=True)] == [
        True,
        True,
    ]
    assert all(asked > silent_s for asked in asked_s)
    nudges = [told.send for told in blind.watch.told if told.send.title.startswith("Refill now")]
    assert all(send.title.startswith("Refill now: box A about ") for send in nudges)
    assert all("The box probe is silent." in send.body for send in nudges)
    assert only_under_an_open_lid(blind.house())


def test_blind_the_silence_is_told_within_the_hour_and_never_ends_by_itself() -> None:
    blind = night("blind")
    silent_s = blind.night.story.silent_s["box-a"]
    assert 0.0 < blind.first_s("Cannot see box A") - silent_s <= HOUR_S
    assert blind.changes("probe-silent/box-a") == ["raise silent"]
    assert blind.watch.shown["a"]["estimated"] is True


def test_two_heads_are_counted_at_dusk_and_each_box_is_told_and_kept_warm_by_itself() -> None:
    two = night("two")
    (count,) = [told.send for told in two.watch.told if told.send.title.startswith("Head count")]
    assert "box A 16, box B 16" in count.body
    (bedtime,) = [told.send for told in two.watch.told if told.send.key.startswith("bedtime/")]
    assert "Box A: one fill now" in bedtime.body
    assert "Box B: one fill now" in bedtime.body
    assert only_under_an_open_lid(two.house("a"))
    assert len(two.house("b").under_floor_s) <= COLD_MINUTES


if __name__ == "__main__":
    for each in STORIES:
        print(f"{each}:", *night(each).lines, sep="\n")
