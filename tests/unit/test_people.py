"""Promise: channels of one person are told together, the next person's join when no one answers, in time."""

from dataclasses import replace

import pytest
from sites import START_WALL_S, make_site
from watching import Watching

from coldbrood.watch.conditions import CONDITIONS
from coldbrood.watch.site import ChannelSpec, Site
from coldbrood.watch.tell import reached


def channels(*people: str | None) -> tuple[ChannelSpec, ...]:
    return tuple(ChannelSpec(f"c{n}", person=person) for n, person in enumerate(people))


@pytest.mark.parametrize(
    ("people", "wanted"),
    [
        ((None, None, None), ["c0", "c0 c1", "c0 c1 c2"]),
        (("keeper", "keeper", "second"), ["c0 c1", "c0 c1 c2"]),
        (("keeper", "second", "keeper"), ["c0 c2", "c0 c1 c2"]),
        ((None, "second", None, "second"), ["c0", "c0 c1 c3", "c0 c1 c2 c3"]),
        (("c1", None), ["c0", "c0 c1"]),
        ((), [""]),
    ],
)
def test_each_step_reaches_one_more_person(people: tuple[str | None, ...], wanted: list[str]) -> None:
    site = channels(*people)
    steps = [" ".join(channel.name for channel in reached(site, n)) for n in range(1, len(wanted) + 1)]
    assert steps == wanted
    assert reached(site, 50) == site


def two_people() -> Site:
    phones = (
        ChannelSpec("phone", person="keeper"),
        ChannelSpec("watch", person="keeper"),
        ChannelSpec("neighbour", person="second"),
    )
    return replace(make_site(), channels=phones)


def test_the_second_person_is_told_when_the_first_does_not_answer() -> None:
    watching = Watching(two_people(), START_WALL_S + 14 * 3600.0)
    for celsius in (24.0, 10.0, 9.9, 9.8):
        watching.send_c("box-a", celsius)
        watching.pass_s(60.0)
    row = CONDITIONS["under-hard-floor"]
    assert row.repeat_s is not None
    first = [told for told in watching.told if told.send.key.startswith("under-hard-floor/a#1.1@")]
    assert [told.send.channel for told in first] == ["phone", "watch"]
    before = len(watching.told)
    watching.pass_s(row.repeat_s + 15.0)
    second = [told for told in watching.told[before:] if "under-hard-floor/a#1.2@" in told.send.key]
    assert sorted(told.send.channel for told in second) == ["neighbour", "phone", "watch"]
    assert 0.0 <= second[-1].t_s - first[0].t_s - row.repeat_s <= 15.0


def test_a_digest_goes_to_the_first_channel_alone() -> None:
    watching = Watching(two_people(), START_WALL_S + 11 * 3600.0)
    watching.send_c("box-a", 24.0)
    watching.pass_s(2 * 3600.0)
    assert {told.send.channel for told in watching.told if told.send.urgency == 1} == {"phone"}
