"""Promise: well is only what was seen to work; a digest tells of the self-test only if something is wrong."""

from dataclasses import replace

import pytest
from sites import START_WALL_S, make_site
from watching import Watching

from coldbrood.watch.events import JournalFailed, JournalWell, LinkDown, LinkUp, Note, SelfTested
from coldbrood.watch.site import Site
from coldbrood.watch.trial import TAKEN_BACK_S
from coldbrood.watch.wellness import digest_lines, troubles

EVENING_WALL_S = START_WALL_S + 11 * 3600.0


def watched(site: Site | None = None, wall_s: float = START_WALL_S) -> Watching:
    """A site on which everything was heard just now."""
    watching = Watching(site or make_site(), wall_s)
    heard(watching)
    return watching


def heard(watching: Watching) -> None:
    watching.send_c("box-a", 28.0)
    watching.send_c("outdoor", 8.0)


def parts(watching: Watching) -> list[str]:
    return [trouble.part for trouble in troubles(watching.site, watching.state, watching.now)]


def ask(watching: Watching, outcome: str) -> None:
    watching.outcome = outcome
    watching.do(Note(f"k{watching.t_s}", "test", None, watching.t_s, watching.wall_s))


def test_all_is_well_once_all_was_heard() -> None:
    assert parts(watched()) == []


def test_a_probe_never_heard_is_not_well_however_fresh_the_start() -> None:
    watching = Watching(make_site(), START_WALL_S)
    assert parts(watching) == ["probe box-a", "probe outdoor"]
    watching.send_c("box-a", 28.0)
    assert parts(watching) == ["probe outdoor"]


def test_a_probe_that_falls_silent_is_not_well() -> None:
    watching = watched()
    watching.pass_s(900.0)
    assert parts(watching) == []
    watching.pass_s(15.0)
    assert parts(watching) == ["probe box-a", "probe outdoor"]


def test_the_link_must_stand_where_a_probe_needs_it() -> None:
    watching = watched()
    watching.do(LinkDown("the broker is gone"))
    assert parts(watching) == ["broker"]
    watching.do(LinkUp())
    assert parts(watching) == []
    fresh = replace(watching.state.health, link_seen=False)
    watching.state = replace(watching.state, health=fresh)
    assert parts(watching) == ["broker"], "not connected yet is not well"
    wired = {name: replace(spec, source="onewire") for name, spec in watching.site.probes.items()}
    watching.site = replace(watching.site, probes=wired)
    assert parts(watching) == []


def test_the_journal_must_take_what_comes() -> None:
    watching = watched()
    watching.do(JournalFailed("disk full"))
    assert parts(watching) == ["journal"]
    watching.do(JournalWell())
    assert parts(watching) == []


@pytest.mark.parametrize("outcome", ["try-again", "refused", "unknown"])
def test_a_channel_is_as_well_as_its_last_outcome(outcome: str) -> None:
    watching = watched()
    ask(watching, outcome)
    assert parts(watching) == ["channel phone-1", "channel phone-2"]
    watching.pass_s(15.0)
    ask(watching, "accepted")
    assert parts(watching) == []


def test_nobody_to_tell_is_not_well() -> None:
    site = make_site(channels=0)
    assert parts(watched(site)) == ["channels"]
    assert parts(watched(replace(site, sounder_after_s=60.0))) == []


def test_what_the_board_finds_is_not_well_and_an_aside_is_only_told() -> None:
    watching = watched()
    watching.do(SelfTested(("the disk has 3 MB left",), ("the all-well signal: answered with HTTP 500",)))
    assert parts(watching) == ["board"]
    assert digest_lines(watching.site, watching.state, watching.now) == [
        "Self-test: board: the disk has 3 MB left.",
        "Self-test: the all-well signal: answered with HTTP 500.",
    ]
    watching.do(SelfTested(()))
    assert parts(watching) == []


def digests(watching: Watching) -> dict[str, str]:
    """Body of each digest by its kind, after a night in which everything is heard."""
    while watching.wall_s < EVENING_WALL_S + 10 * 3600.0:
        heard(watching)
        watching.pass_s(600.0)
    found = [told.send for told in watching.told if told.send.key.split("/")[0] in ("bedtime", "morning")]
    return {send.key.split("/")[0]: send.body for send in found}


def test_the_digests_say_nothing_of_a_self_test_that_went_well() -> None:
    told = digests(watched(wall_s=EVENING_WALL_S))
    assert set(told) == {"bedtime", "morning"}
    assert not any("Self-test" in body for body in told.values())


def test_the_digests_begin_with_what_is_wrong() -> None:
    watching = watched(wall_s=EVENING_WALL_S)
    watching.do(SelfTested(("the disk has 3 MB left",)))
    told = digests(watching)
    assert told["bedtime"].startswith("Self-test: board: the disk has 3 MB left. ")
    assert "Self-test: board: the disk has 3 MB left." in told["morning"]


def test_a_test_goes_to_every_channel_at_once_and_comes_once() -> None:
    watching = watched()
    note = Note("k", "test", None, watching.t_s, watching.wall_s)
    watching.do(note)
    watching.do(note)
    assert [(told.send.channel, told.send.urgency) for told in watching.told] == [
        ("phone-1", 3),
        ("phone-2", 3),
    ]


def test_a_test_that_does_not_get_through_does_not_come_in_the_night() -> None:
    watching = watched()
    ask(watching, "try-again")
    watching.pass_s(TAKEN_BACK_S + 15.0)
    before = len(watching.told)
    watching.outcome = "accepted"
    watching.pass_s(3600.0)
    assert not any(told.send.title.startswith("Test") for told in watching.told[before:])
