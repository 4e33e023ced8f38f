"""The whole step of the watch under Hypothesis: anything may come in any order, the laws of DESIGN hold."""

from collections.abc import Mapping
from dataclasses import replace
from typing import ClassVar, TypeVar

from bench import senml
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, precondition, rule
from sites import START_WALL_S, make_site

from coldbrood.codec import pack, unpack
from coldbrood.probes.door import Door
from coldbrood.watch.alarms import Alarm
from coldbrood.watch.alarmstates import TRANSITIONS
from coldbrood.watch.conditions import CONDITIONS
from coldbrood.watch.events import (
    Act,
    Beat,
    Bedtime,
    ClockStepped,
    Event,
    GapKnown,
    History,
    JournalFailed,
    JournalWell,
    LinkDown,
    LinkUp,
    Morning,
    Note,
    Now,
    Reading,
    Retain,
    SelfTested,
    SendDone,
    SendNow,
    SendOutcome,
    Sound,
    Started,
    Tick,
)
from coldbrood.watch.outbox import CRITICAL_URGENCY, FLOOD_MOST, FLOOD_WINDOW_S, Message
from coldbrood.watch.site import Site
from coldbrood.watch.state import Ledger, State, first_state
from coldbrood.watch.step import step
from coldbrood.watch.tell import is_quiet

ENDED = ("accepted", "refused", "gave-up")
BY_READINGS = ("under-hard-floor", "too-hot", "probe-silent", "no-outdoor", "probe-wrong", "battery-low")
PROBES = ("box-a", "box-b", "outdoor")
PERSONAL = ("acknowledge", "shelve", "unshelve")
ABOUT = ("a", "b", "box-a", *(f"{name}/a" for name in CONDITIONS), "nonsense/a", "")
RUBBISH = (b"", b"\xff", b"{", b"[]", b"null", senml(85.0).encode(), senml(-127.0).encode(), b"[" * 2000)
OUTCOMES: tuple[SendOutcome, ...] = ("accepted", "try-again", "refused", "unknown")

Row = TypeVar("Row")

celsius = st.sampled_from((-5.0, 9.0, 12.0, 12.25, 18.0, 24.0, 24.0625, 28.0, 31.0, 34.5, 34.75, 39.0, 60.0))
probes = st.sampled_from(PROBES)


class Watch(RuleBasedStateMachine):
    """One site of two boxes, whatever may come. `wall_s` may step, `t_s` never does."""

    site: ClassVar[Site] = replace(make_site(boxes="ab"), sounder_after_s=600.0)

    def __init__(self) -> None:
        super().__init__()
        self.t_s, self.wall_s = 1000.0, START_WALL_S
        self.state: State = first_state(self.site, self.t_s)
        self.door = Door(self.site.probes)
        self.ever: dict[str, Message] = {}
        self.reached: list[tuple[str, float]] = []
        self.notes = 0
        self.do(Started(None, sure=True))
        self.do(LinkUp())

    @property
    def now(self) -> Now:
        return Now(self.t_s, self.wall_s, synced=True)

    def do(self, event: Event) -> None:
        """One step, and the laws that concern a single step."""
        before = self.state
        self.state, acts = step(self.site, before, event, self.now)
        self.alarms_moved_by_the_table(acts)
        self.only_a_reading_clears(before, event)
        self.sends_have_an_intent(acts)
        self.what_may_not_wake_waits_for_the_day(acts)
        self.noise_has_a_cause(acts)

    # ---- what can happen

    @rule(probe=probes, value=celsius, age_s=st.sampled_from((0.0, 0.0, 0.0, 600.0, 90_000.0)))
    def reading(self, probe: str, value: float, age_s: float) -> None:
        self.t_s += 7.0
        self.wall_s += 7.0
        self.packet(probe, senml(value).replace("}", f', "t": {-age_s}}}').encode(), 0.0)

    @rule(probe=probes, value=celsius)
    def reading_that_waited_at_the_broker(self, probe: str, value: float) -> None:
        self.packet(probe, senml(value).encode(), 5000.0)

    @rule(probe=probes, payload=st.sampled_from(RUBBISH), count=st.integers(1, 4))
    def rubbish(self, probe: str, payload: bytes, count: int) -> None:
        for _ in range(count):
            self.packet(probe, payload, 0.0)

    @rule(probe=probes, percent=st.sampled_from((3, 14, 18, 90)))
    def battery(self, probe: str, percent: int) -> None:
        self.packet(probe, b'[{"n":"battery","u":"%%EL","v":%d}]' % percent, 0.0)

    def packet(self, probe: str, payload: bytes, waited_s: float) -> None:
        for value in self.door.packet(self.site.probes[probe].topic, payload, False, waited_s, self.now):
            self.do(value)

    @rule(seconds=st.sampled_from((15.0, 15.0, 15.0, 60.0, 240.0, 900.0, 3600.0, 40_000.0)))
    def pass_time(self, seconds: float) -> None:
        self.t_s += seconds
        self.wall_s += seconds
        self.do(Beat())
        self.critical_is_told_and_never_held_back()

    @rule(
        event=st.sampled_from((Tick(), Retain(), Bedtime(), Morning(), JournalFailed("full"), JournalWell()))
    )
    def timer_or_disk(self, event: Event) -> None:
        self.do(event)

    @rule(
        event=st.sampled_from((LinkDown("gone"), LinkUp(), SelfTested(("disk",), ("aside",)), SelfTested(())))
    )
    def link_or_board(self, event: Event) -> None:
        self.do(event)

    @rule(
        kind=st.sampled_from(PERSONAL),
        about=st.sampled_from(ABOUT),
        minutes=st.sampled_from((None, 1.0, 1e6)),
    )
    def answer(self, kind: str, about: str, minutes: float | None) -> None:
        held = {k: a.active for k, a in self.state.alarms.items() if a.condition in BY_READINGS}
        self.note(kind, alarm=about, minutes=minutes)
        for key, active in held.items():
            assert self.state.alarms[key].active == active, "no word of a person mends a box"

    @rule(
        kind=st.sampled_from(("count", "loss", "look-in", "text", "test", "withdraw")),
        box=st.sampled_from(("a", "b", None)),
        count=st.sampled_from((None, 0, 1, 500)),
        look_in=st.sampled_from((None, "huddled", "spread", "panting", "weak")),
    )
    def tell(self, kind: str, box: str | None, count: int | None, look_in: str | None) -> None:
        self.note(kind, box=box, count=count, look_in=look_in, text=f"k{self.notes}")

    @rule(value=st.sampled_from((5.0, 6.0)))
    def ten_messages_and_then_the_cold(self, value: float) -> None:
        """The window is full, and something critical comes."""
        for _ in range(5):
            self.note("test")
        for n in range(4):
            self.reading("box-a", value + n / 16, 0.0)
        self.pass_time(15.0)

    @rule(box=st.sampled_from(("a", "b")))
    def refill(self, box: str) -> None:
        """The jug is filled: what a refill settles is answered, whoever was asked."""
        self.note("refill", box=box, fill_c=70.0)
        for alarm in self.state.alarms.values():
            if alarm.subject == box and alarm.row.settled_by == "refill":
                assert alarm.state not in ("unacknowledged", "returned-unacknowledged"), alarm

    def note(self, kind: str, **more: object) -> None:
        self.notes += 1
        note = Note(f"k{self.notes}", kind, None, self.t_s, self.wall_s)  # type: ignore[arg-type] # one of NoteKind
        self.do(replace(note, **more))  # type: ignore[arg-type] # the fields of a note

    @rule(delta_s=st.sampled_from((-3600.0, 3600.0, 86_400.0, -20.0)))
    def clock_steps(self, delta_s: float) -> None:
        """It changes no decision: no alarm, no message, no duration."""
        alarms, keys = self.state.alarms, set(self.state.outbox)
        self.wall_s += delta_s
        self.do(ClockStepped(delta_s))
        assert self.state.alarms == alarms
        assert set(self.state.outbox) == keys

    @rule(gap_s=st.sampled_from((60.0, 7200.0)))
    def gap_becomes_known(self, gap_s: float) -> None:
        """Watch time goes ahead with what belongs to this start: no wait since then gets longer."""
        before, since_s = self.state.alarms, self.state.health.started_t_s
        told = {k: a.last_told_t_s for k, a in before.items() if (a.last_told_t_s or -1.0) >= since_s}
        waited = {key: self.t_s - at_s for key, at_s in told.items() if at_s is not None}
        self.t_s += gap_s
        self.reached = [(k, at_s + gap_s if at_s >= since_s else at_s) for k, at_s in self.reached]
        self.do(GapKnown(gap_s))
        for key, wait_s in waited.items():
            last_s = self.state.alarms[key].last_told_t_s
            assert last_s is not None
            assert abs(self.t_s - last_s - wait_s) < 1e-6
        self.ever = dict(self.state.outbox) | {
            k: m for k, m in self.ever.items() if k not in self.state.outbox
        }

    @precondition(lambda self: any(m.state == "sending" for m in self.state.outbox.values()))
    @rule(outcome=st.sampled_from(OUTCOMES), which=st.integers(0, 99), all_of_them=st.booleans())
    def sent(self, outcome: SendOutcome, which: int, all_of_them: bool) -> None:
        sending = sorted(key for key, m in self.state.outbox.items() if m.state == "sending")
        for key in sending if all_of_them else [sending[which % len(sending)]]:
            if outcome in ("try-again", "refused"):  # it reached nobody, so it takes no place in the window
                del self.reached[max(i for i, (name, _) in enumerate(self.reached) if name == key)]
            self.do(SendDone(key, outcome, outcome))

    @rule(key=st.sampled_from(("x", "refill-now/a#1.1@phone-1", "under-hard-floor/b#1.1@phone-2")))
    def an_outcome_nobody_waits_for(self, key: str) -> None:
        message = self.state.outbox.get(key)
        if message is None or message.state in ENDED:
            self.do(SendDone(key, "try-again", "late"))
            assert self.state.outbox.get(key) == message

    @rule(down_s=st.sampled_from((2.0, 400.0, 20_000.0)), sure=st.booleans())
    def die_and_come_back(self, down_s: float, sure: bool) -> None:
        """Killed and started anew from what the journal holds."""
        was = self.state
        self.state = _revived(self.site, was, self.t_s + down_s)
        assert (self.state.alarms, self.state.outbox) == (was.alarms, was.outbox)
        self.t_s += down_s
        self.wall_s += down_s
        self.do(Started(down_s, sure))
        for key, message in was.outbox.items():
            if message.state == "sending":
                assert self.state.outbox[key].may_repeat or self.state.outbox[key].state == "gave-up"

    @rule()
    def the_same_again_gives_the_same(self) -> None:
        first, second = (step(self.site, self.state, Beat(), self.now) for _ in range(2))
        assert (pack(first[0].sight), first[0].alarms, first[0].outbox) == (
            pack(second[0].sight),
            second[0].alarms,
            second[0].outbox,
        )
        assert repr(first[1]) == repr(second[1])

    # ---- what must hold

    def alarms_moved_by_the_table(self, acts: tuple[Act, ...]) -> None:
        for act in acts:
            if not isinstance(act, History) or act.kind != "alarm":
                continue
            event, _, before = act.detail.partition(" from ")
            if event == "reason":
                assert act.state == before
                continue
            to = TRANSITIONS[before, event]  # type: ignore[index] # a pair that is not in the table fails here
            assert act.state in (("unacknowledged", "normal") if to == "by-condition" else (to,))
            assert act.reason, f"a change without a reason: {act}"

    def only_a_reading_clears(self, before: State, event: Event) -> None:
        """Silence never looks like comfort, and no person, timer or restart ends a condition."""
        if isinstance(event, Reading):
            return
        for key, alarm in before.alarms.items():
            if alarm.active and alarm.condition in BY_READINGS:
                assert self.state.alarms[key].active, f"{key} ended by {event}"

    def sends_have_an_intent(self, acts: tuple[Act, ...]) -> None:
        sends = [act for act in acts if isinstance(act, SendNow)]
        for send in sends:
            assert self.state.outbox[send.key].state == "sending"
            self.reached.append((send.key, self.t_s))
        if any(send.urgency < CRITICAL_URGENCY for send in sends):
            recent = [key for key, at_s in self.reached if self.t_s - at_s < FLOOD_WINDOW_S]
            assert len(recent) <= FLOOD_MOST, f"a flood: {recent}"

    def what_may_not_wake_waits_for_the_day(self, acts: tuple[Act, ...]) -> None:
        """Nor may what was begun by day and tried again, or taken on by the next channel."""
        if not is_quiet(self.site, self.now):
            return
        for act in acts:
            condition = act.key.partition("/")[0] if isinstance(act, SendNow) else ""
            if isinstance(act, SendNow) and condition in CONDITIONS:
                assert CONDITIONS[condition].wakes or act.urgency == CRITICAL_URGENCY, act

    def noise_has_a_cause(self, acts: tuple[Act, ...]) -> None:
        for act in acts:
            if isinstance(act, Sound):
                for key in act.alarms:
                    assert key == "test" or self.state.alarms[key].state == "unacknowledged"

    def critical_is_told_and_never_held_back(self) -> None:
        for key, alarm in self.state.alarms.items():
            critical = alarm.state == "unacknowledged" and alarm.urgency == CRITICAL_URGENCY
            if critical and alarm.off_since_t_s is None:
                assert alarm.last_told_t_s is not None, f"{key} is critical and untold"
                assert self.t_s - alarm.last_told_t_s < (alarm.wait_s or 0.0)
                name = f"{key}#{alarm.raises}.{alarm.told}@{self.site.channels[0].name}"
                assert name in {*self.state.outbox, *self.ever}
        for message in self.state.outbox.values():
            due_now = message.state == "waiting" and message.due_t_s <= self.t_s
            assert not (due_now and message.urgency == CRITICAL_URGENCY), f"held back: {message}"

    @invariant()
    def no_message_is_lost_and_each_end_is_final(self) -> None:
        for key, was in self.ever.items():
            now = self.state.outbox.get(key)
            if now is None:
                assert was.state in ENDED, f"{key} vanished"
            elif was.state in ENDED:
                assert now.state == was.state, "what ended came back"
        self.ever.update(self.state.outbox)

    @invariant()
    def states_agree_with_conditions(self) -> None:
        for alarm in self.state.alarms.values():
            if alarm.state in ("unacknowledged", "acknowledged"):
                assert alarm.active
            if alarm.state in ("normal", "returned-unacknowledged"):
                assert not alarm.active
            if alarm.state == "shelved":
                assert alarm.shelved_until_t_s is not None, "a shelf without an end"
                most_s = 3600.0 if alarm.urgency == CRITICAL_URGENCY else 12 * 3600.0
                assert alarm.shelved_until_t_s <= self.t_s + most_s

    @invariant()
    def what_is_shown_is_in_order_and_owns_up_to_being_an_estimate(self) -> None:
        for view in self.state.views.values():
            times = [view.hold.early_s, view.hold.median_s, view.hold.late_s]
            given = [at for at in times if at is not None]
            assert given == sorted(given)
            assert view.estimated or not view.blind
            assert view.band.hard_floor_c < view.band.floor_c < view.band.ceiling_c


def _revived(site: Site, was: State, t_s: float) -> State:
    """The state after a restart: what the journal keeps goes through its bytes, the rest is found anew."""
    fresh = first_state(site, t_s)
    return replace(
        fresh,
        sight=unpack(pack(was.sight), type(was.sight)),
        alarms=_through_bytes(was.alarms, Alarm),
        outbox=_through_bytes(was.outbox, Message),
        ledger=unpack(pack(was.ledger), Ledger),
    )


def _through_bytes(rows: Mapping[str, Row], kind: type[Row]) -> dict[str, Row]:
    return {key: unpack(pack(row), kind) for key, row in rows.items()}
