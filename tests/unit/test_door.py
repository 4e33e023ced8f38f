"""Whatever comes to the door becomes a dated, calibrated reading once, or a refusal with its reason."""

from collections.abc import Iterable

import pytest

from coldbrood.probes.door import DETAIL_KEPT, PAYLOAD_KEPT_BYTES, Door, Outcome
from coldbrood.watch.events import Now, Reading, Refused
from coldbrood.watch.site import ProbeSpec

BOX, YARD = "coldbrood/s/box-a/reading", "coldbrood/s/yard/reading"
WALL_S = 1_700_000_000.0


def make_door() -> Door:
    probes = (
        ProbeSpec("box-a", "box", "a", "mqtt", 60.0, topic=BOX, offset_c=-0.5),
        ProbeSpec("yard", "outdoor", None, "mqtt", 300.0, topic=YARD, format="plain"),
        ProbeSpec("left", "box", "a", "mqtt", 60.0, topic="board"),
        ProbeSpec("right", "box", "b", "mqtt", 60.0, topic="board"),
        ProbeSpec("wire", "box", "a", "onewire", 10.0, sensor_id="28-0316a2795bff", offset_c=0.25),
    )
    return Door({spec.name: spec for spec in probes})


def at(t_s: float, *, synced: bool = True) -> Now:
    return Now(t_s, WALL_S + t_s, synced)


def send(
    door: Door,
    payload: str,
    t_s: float,
    *,
    topic: str = BOX,
    bound_s: float = 0.0,
    synced: bool = True,
    mid: int = 0,
) -> tuple[Outcome, ...]:
    return door.packet(topic, payload.encode(), False, bound_s, at(t_s, synced=synced), mid)


def box(celsius: float, t: float = 0.0) -> str:
    return f'[{{"n":"box-a","u":"Cel","v":{celsius},"t":{t}}}]'


def taken(outcomes: Iterable[Outcome]) -> list[tuple[float, float]]:
    return [(o.t_s, o.raw) for o in outcomes if isinstance(o, Reading)]


def refused(outcomes: Iterable[Outcome]) -> list[str]:
    return [o.reason for o in outcomes if isinstance(o, Refused)]


def test_a_reading_is_dated_and_calibrated() -> None:
    assert send(make_door(), box(21.0, -30), 1000.0) == (
        Reading("box-a", "temperature_c", 21.0, 20.5, 970.0, WALL_S + 970.0, synced=True),
    )


def test_the_offset_is_for_temperatures_only() -> None:
    (reading,) = send(make_door(), '[{"n":"box-a","u":"%RH","v":50}]', 0.0)
    assert isinstance(reading, Reading)
    assert (reading.raw, reading.value) == (50.0, 50.0)


def test_a_bundle_is_taken_oldest_first() -> None:
    pack = '[{"bn":"box-a","bu":"Cel","v":22},{"t":-600,"v":24},{"t":-300,"v":23}]'
    assert taken(send(make_door(), pack, 1000.0)) == [(400.0, 24.0), (700.0, 23.0), (1000.0, 22.0)]


def test_the_same_bundle_twice_is_stored_once_and_refused_in_one_line() -> None:
    door = make_door()
    pack = '[{"bn":"box-a","bu":"Cel","v":22},{"t":-600,"v":24},{"t":-300,"v":23}]'
    send(door, pack, 1000.0)
    (refusal,) = send(door, pack, 1004.0)
    assert isinstance(refusal, Refused)
    assert (refusal.reason, refusal.detail[-12:]) == ("older-than-taken", "(and 2 more)")


def test_a_bundle_that_repeats_old_records_gives_only_the_new_one() -> None:
    door = make_door()
    send(door, '[{"bn":"box-a","bu":"Cel","t":-60,"v":24},{"v":23}]', 1000.0)
    outcomes = send(door, '[{"bn":"box-a","bu":"Cel","t":-120,"v":24},{"t":-60,"v":23},{"v":22}]', 1060.7)
    assert taken(outcomes) == [(1060.7, 22.0)]


def test_one_bad_value_does_not_cost_the_others() -> None:
    outcomes = send(make_door(), '[{"bn":"box-a","u":"Cel","v":-127},{"u":"V","v":2.9}]', 0.0)
    assert refused(outcomes) == ["disconnected-value"]
    assert taken(outcomes) == [(0.0, 2.9)]


def test_an_unknown_topic_is_refused() -> None:
    (refusal,) = send(make_door(), box(21.0), 5.0, topic="coldbrood/s/nobody/reading")
    assert isinstance(refusal, Refused)
    assert (refusal.probe, refusal.reason, refusal.t_s) == (None, "unknown-probe", 5.0)


def test_a_wired_probe_is_not_reached_over_the_broker() -> None:
    assert refused(send(make_door(), box(21.0), 0.0, topic="")) == ["unknown-probe"]


def test_a_retained_packet_is_no_sign_of_life() -> None:
    (refusal,) = make_door().packet(BOX, box(21.0).encode(), True, 0.0, at(0.0))
    assert isinstance(refusal, Refused)
    assert (refusal.probe, refusal.reason) == ("box-a", "retained")


def test_two_probes_may_share_a_board_and_its_topic() -> None:
    pack = (
        '[{"bn":"u:","n":"left","u":"Cel","v":20},{"n":"right","u":"Cel","v":25},{"n":"cell","u":"V","v":3}]'
    )
    outcomes = send(make_door(), pack, 0.0, topic="board")
    found = [(o.probe, o.quantity, o.raw) for o in outcomes if isinstance(o, Reading)]
    assert found == [
        ("left", "temperature_c", 20.0),
        ("left", "battery_v", 3.0),
        ("right", "temperature_c", 25.0),
        ("right", "battery_v", 3.0),
    ]


def test_on_a_shared_board_a_missing_sensor_does_not_read_the_other() -> None:
    outcomes = send(make_door(), '[{"n":"left","u":"Cel","v":20}]', 0.0, topic="board")
    assert taken(outcomes) == [(0.0, 20.0)]
    assert [(o.probe, o.reason) for o in outcomes if isinstance(o, Refused)] == [("right", "bad-payload")]


@pytest.mark.parametrize(("ahead_s", "reasons"), [(59.0, []), (61.0, ["from-the-future"])])
def test_a_probes_clock_may_be_a_little_fast(ahead_s: float, reasons: list[str]) -> None:
    for stamp in (ahead_s, WALL_S + 1000.0 + ahead_s):
        outcomes = send(make_door(), box(21.0, stamp), 1000.0)
        assert refused(outcomes) == reasons
        assert taken(outcomes) == ([] if reasons else [(1000.0, 21.0)])


def test_absolute_times_are_placed_by_the_wall_clock() -> None:
    assert taken(send(make_door(), box(21.0, WALL_S + 880.0), 1000.0)) == [(880.0, 21.0)]


@pytest.mark.parametrize("synced", [True, False])
def test_a_clock_that_was_never_set_does_not_blind_the_keeper(synced: bool) -> None:
    # The probe's clock starts in the year 2000, or the board's own is not set: the newest is "now".
    pack = '[{"bn":"box-a","bu":"Cel","bt":946684800,"t":-60,"v":24},{"v":23}]'
    assert taken(send(make_door(), pack, 1000.0, synced=synced)) == [(940.0, 24.0), (1000.0, 23.0)]


def test_what_is_days_old_is_refused() -> None:
    assert refused(send(make_door(), box(21.0, -200_000), 1e6)) == ["older-than-taken"]


def test_a_packet_of_unknown_age_is_kept_late_and_moves_nothing() -> None:
    door = make_door()
    send(door, box(21.0), 1000.0)
    (late,) = send(door, box(60.0), 2000.0, bound_s=900.0)
    assert isinstance(late, Reading)
    assert (late.late, late.t_s) == (True, 2000.0)
    (live,) = send(door, box(22.0), 1990.0)
    assert isinstance(live, Reading)
    assert not live.late


@pytest.mark.parametrize("value", [-127.0, 85.0, 150.0])
def test_a_late_value_must_still_be_possible(value: float) -> None:
    assert len(refused(send(make_door(), box(value), 2000.0, bound_s=900.0))) == 1


def test_a_short_wait_at_the_broker_is_not_late() -> None:
    (reading,) = send(make_door(), box(21.0), 1000.0, bound_s=120.0)
    assert isinstance(reading, Reading)
    assert not reading.late


def test_a_late_packet_with_absolute_times_has_a_known_age() -> None:
    (reading,) = send(make_door(), box(21.0, WALL_S + 400.0), 1000.0, bound_s=900.0)
    assert isinstance(reading, Reading)
    assert (reading.late, reading.t_s) == (False, 400.0)


def test_what_the_broker_sends_again_after_a_restart_is_stored_once() -> None:
    first = make_door()
    kept = [*send(first, box(21.0), 1000.0, mid=7), *send(first, box(21.5), 1060.0, mid=8)]
    door = make_door()
    door.resume(o for o in kept if isinstance(o, Reading))
    # Both were committed and neither acknowledged; the daemon was away from 1061 on.
    assert refused(send(door, box(21.0), 1100.0, bound_s=39.0, mid=7)) == ["older-than-taken"]
    assert refused(send(door, box(21.5), 1100.1, bound_s=39.1, mid=8)) == ["older-than-taken"]
    assert taken(send(door, box(21.5), 1120.0, mid=9)) == [(1120.0, 21.5)]


@pytest.mark.parametrize("restarted", [True, False])
def test_an_equal_value_that_waited_is_no_copy_however_soon_it_follows(restarted: bool) -> None:
    """A steady box: what was taken and acknowledged must not stand for what came after."""
    door = make_door()
    kept = [o for k in range(3) for o in send(door, box(21.0), 1000.0 + 60.0 * k, mid=k + 1)]
    if restarted:
        door = make_door()
        door.resume(o for o in kept if isinstance(o, Reading))
    waited = [o for k in range(4) for o in send(door, box(21.0), 1180.0 + k, bound_s=59.0 + k, mid=k + 3)]
    assert refused(waited) == ["older-than-taken"], "the one of number 3, and no other"
    assert len(taken(waited)) == 3


def test_another_probe_or_value_under_the_same_number_is_no_copy() -> None:
    door = make_door()
    send(door, box(21.0), 1000.0, mid=5)
    send(door, "8.5", 1001.0, topic=YARD, mid=6)
    assert len(taken(send(door, box(21.5), 1100.0, bound_s=30.0, mid=5))) == 1
    assert len(taken(send(door, box(21.5), 1110.0, bound_s=30.0, mid=6))) == 1


def test_what_the_broker_sends_once_has_no_number_and_is_never_a_copy() -> None:
    door = make_door()
    assert len(taken(send(door, box(21.0), 1000.0))) == 1
    assert len(taken(send(door, box(21.0), 1100.0, bound_s=50.0))) == 1


def test_a_live_packet_is_taken_whatever_its_number() -> None:
    """A broker that lost its session counts from 1 again."""
    door = make_door()
    send(door, box(21.0), 1000.0, mid=1)
    assert taken(send(door, box(21.0), 1060.0, mid=1)) == [(1060.0, 21.0)]


def test_a_bundle_sent_again_is_known_value_by_value() -> None:
    door = make_door()
    pack = '[{"bn":"box-a","bu":"Cel","v":22},{"t":-20,"v":22},{"t":-40,"v":22}]'
    assert len(taken(send(door, pack, 1000.0, mid=4))) == 3
    assert taken(send(door, pack, 1030.0, bound_s=25.0, mid=4)) == []
    fresh = send(door, pack, 1400.0, bound_s=395.0, mid=5)
    assert taken(fresh) == [(1360.0, 22.0), (1380.0, 22.0), (1400.0, 22.0)]


def test_after_a_restart_the_gate_goes_on_where_it_was() -> None:
    door = make_door()
    door.resume([Reading("box-a", "temperature_c", 21.0, 20.5, 1000.0, WALL_S, synced=True)])
    assert refused(send(door, box(20.0), 990.0)) == ["older-than-taken"]
    assert refused(send(door, box(60.0), 1060.0)) == ["jump"]


def test_late_readings_do_not_set_the_gate_after_a_restart() -> None:
    door = make_door()
    door.resume([Reading("box-a", "temperature_c", 60.0, 59.5, 1000.0, WALL_S, synced=True, late=True)])
    assert taken(send(door, box(20.0), 990.0)) == [(990.0, 20.0)]


def test_a_wired_sample_is_a_reading() -> None:
    (reading,) = make_door().wired("wire", 20.0, None, "", at(7.0))
    assert reading == Reading("wire", "temperature_c", 20.0, 20.25, 7.0, WALL_S + 7.0, synced=True)


def test_a_steady_wired_probe_makes_no_copies() -> None:
    door = make_door()
    assert all(
        isinstance(o, Reading) for k in range(5) for o in door.wired("wire", 20.0, None, "", at(float(k)))
    )


def test_a_wired_fault_is_a_refusal() -> None:
    door = make_door()
    assert refused(door.wired("wire", None, "crc", "cable", at(0.0))) == ["crc"]
    assert refused(door.wired("wire", None, None, "", at(0.0))) == ["not-a-number"]
    assert refused(door.wired("wire", 130.0, None, "", at(0.0))) == ["out-of-range"]
    assert refused(door.wired("nobody", 20.0, None, "", at(0.0))) == ["unknown-probe"]


def test_what_is_kept_of_a_bad_payload_is_bounded_and_storable() -> None:
    topic = "x" * 500
    (refusal,) = make_door().packet(topic, b"\xff" * 5000, False, 0.0, at(0.0))
    assert isinstance(refusal, Refused)
    assert (len(refusal.payload), len(refusal.topic)) == (PAYLOAD_KEPT_BYTES, DETAIL_KEPT)
    payload = '{"' + "\\ud800" * 300 + '":1, "' + "\\ud800" * 300 + '":2}'
    (doubled,) = send(make_door(), payload, 0.0)
    assert isinstance(doubled, Refused)
    assert len(doubled.detail) <= DETAIL_KEPT
    assert doubled.detail.encode()
