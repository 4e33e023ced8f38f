"""Promise: a gap that becomes known late changes no duration of what happened since, and none before."""

from dataclasses import replace

import pytest
from sites import START_WALL_S, make_site
from watching import Watching

from coldbrood.watch.events import GapKnown, Note, Started

GAP_S = 7200.0


def restarted(settle_s: float = 60.0) -> Watching:
    """A site with a cold box, down for a time that its clock could not tell, then watched for a while."""
    watching = Watching(make_site(channels=1), START_WALL_S)
    watching.send_c("box-a", 12.0)
    watching.pass_s(300.0)
    watching.send_c("box-a", 12.0625)
    watching.pass_s(15.0)
    watching.do(Started(0.0, sure=False))
    watching.pass_s(settle_s)
    return watching


def reveal(watching: Watching) -> None:
    """The clock is set: watch time goes ahead, as the service does it."""
    watching.t_s += GAP_S
    watching.do(GapKnown(GAP_S))


def test_what_was_told_since_the_start_is_not_told_again_at_once() -> None:
    watching = restarted()
    watching.send_c("box-a", 12.125)
    told = len(watching.told)
    reveal(watching)
    watching.pass_s(15.0)
    alarm = watching.state.alarms["under-hard-floor/a"]
    since = [t for t in watching.told[told:] if t.send.title.startswith("Too cold")]
    assert alarm.last_told_t_s is not None
    assert len(since) <= 1, "told before the start, so it is overdue: once"


def test_an_alarm_of_this_start_keeps_its_age_and_one_from_before_grows_older() -> None:
    watching = restarted(settle_s=30.0)
    raised = watching.state.alarms["under-hard-floor/a"].raised_t_s
    assert raised is not None
    started_t_s = watching.state.health.started_t_s
    young = replace(watching.state.alarms["under-hard-floor/a"], subject="b", raised_t_s=started_t_s + 5.0)
    watching.state = replace(watching.state, alarms={**watching.state.alarms, young.key: young})
    reveal(watching)
    assert watching.state.alarms["under-hard-floor/a"].raised_t_s == raised
    assert watching.state.alarms["under-hard-floor/b"].raised_t_s == started_t_s + 5.0 + GAP_S


def test_probes_are_granted_their_time_from_the_moved_start() -> None:
    watching = restarted()
    reveal(watching)
    watching.pass_s(60.0)
    assert not any("Cannot see" in title for title in watching.titles())


def test_the_gap_is_said_and_no_longer_unknown() -> None:
    watching = restarted()
    reveal(watching)
    watching.pass_s(30.0)
    health = watching.state.health
    assert (health.down_s, health.down_sure) == (GAP_S, True)
    assert watching.state.alarms["daemon-was-down/larch-lane"].reason == "was-down"
    assert any(line.state == "gap-known" and line.detail == "was down 7200 s" for line in watching.history)


@pytest.mark.parametrize(("before_start", "moved_s"), [(True, 0.0), (False, GAP_S)])
def test_a_shelf_ends_when_it_was_said_to(before_start: bool, moved_s: float) -> None:
    watching = restarted()
    key = "under-hard-floor/a"
    shelve = Note("k", "shelve", "a", watching.t_s, watching.wall_s, alarm=key, minutes=30.0)
    watching.do(shelve)
    if before_start:
        watching.pass_s(15.0)
        watching.do(Started(0.0, sure=False))
        watching.pass_s(15.0)
    until = watching.state.alarms[key].shelved_until_t_s
    assert until is not None
    alarms = watching.state.alarms
    reveal(watching)
    after = watching.state.alarms[key].shelved_until_t_s
    assert alarms[key].state == "shelved"
    assert after in (until + moved_s, None)


def test_a_message_that_waits_is_not_given_up_for_a_day_that_was_not_its_own() -> None:
    watching = restarted()
    watching.outcome = "try-again"
    watching.pass_s(300.0)
    waiting = [m.key for m in watching.state.outbox.values() if m.state == "waiting"]
    assert waiting
    watching.t_s += 30 * 3600.0
    watching.do(GapKnown(30 * 3600.0))
    ended = {m.key: m.last_detail for m in watching.state.outbox.values() if m.state == "gave-up"}
    young = [key for key in waiting if watching.state.outbox[key].created_t_s > watching.t_s - 3600.0]
    assert young
    assert not any(ended.get(key, "").startswith("24 h") for key in young)
