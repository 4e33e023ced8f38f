"""One service of the library is loaded and no other; it is the one that the library itself would take, and it
sends, refuses and fails as it does there."""

import subprocess
import sys
from functools import cache

import pytest
from receiver import Receiver

from coldbrood.deliver import plugin
from coldbrood.deliver.channel import ChannelUrl, send, usable

# apprise loads a module of the standard library that Python 3.13 drops.
pytestmark = pytest.mark.filterwarnings("ignore:'imghdr' is deprecated:DeprecationWarning")

# Services whose source names its schemes in a way of its own; they are found the library's way.
NOT_BY_WORDS = {"dbus", "kde", "qt", "glib", "kodi", "kodis", "xbmc", "xbmcs"}

LOADED = """
import sys
from coldbrood.deliver.channel import ChannelUrl, send, usable
assert usable(ChannelUrl("phone", sys.argv[1]))
result = send(ChannelUrl("phone", sys.argv[1]), "Refill now", "box a", 3, 5.0)
print(result.outcome, sum(name.startswith("apprise.plugins.") for name in sys.modules))
"""


def test_each_scheme_of_the_library_leads_to_its_own_service(monkeypatch: pytest.MonkeyPatch) -> None:
    """The library's whole list is the reference: what is found by words is what it would load."""
    from apprise.manager_plugins import NotificationManager

    monkeypatch.setattr(plugin, "_schemes_said", cache(plugin._schemes_said))
    services = NotificationManager()  # type: ignore[no-untyped-call]  # it has no types
    schemes = list(services.schemas())  # type: ignore[no-untyped-call]  # it has no types
    assert len(schemes) > 200
    found = {scheme: plugin.plugin_of.__wrapped__(scheme) for scheme in schemes}
    wrong = [scheme for scheme in schemes if found[scheme] not in (None, services[scheme])]
    assert wrong == []
    assert {scheme for scheme in schemes if found[scheme] is None} <= NOT_BY_WORDS


@pytest.mark.parametrize("scheme", ["json", "ntfy"])
def test_a_send_loads_one_service_of_two_hundred(scheme: str) -> None:
    """Each service brings a few helpers of its own along; all of them together are some 190 modules."""
    with Receiver() as receiver:
        address = f"{scheme}://{receiver.address}/nudge"
        command = [sys.executable, "-c", LOADED, address]
        done = subprocess.run(command, capture_output=True, text=True, timeout=60)
        assert done.returncode == 0, done.stderr
        outcome, modules = done.stdout.split()
        assert (outcome, len(receiver.received)) == ("accepted", 1)
        assert 1 < int(modules) < 10


def test_what_the_words_do_not_show_goes_the_librarys_way(monkeypatch: pytest.MonkeyPatch) -> None:
    with Receiver() as receiver:
        channel = ChannelUrl("phone", f"json://{receiver.address}/nudge")
        monkeypatch.setattr(plugin, "plugin_of", lambda _scheme: None)
        assert send(channel, "Refill now", "box a", 3, 5.0).outcome == "accepted"
        assert receiver.received[0].json()["title"] == "Refill now"


def test_two_urls_in_one_go_the_librarys_way() -> None:
    with Receiver() as one, Receiver() as two:
        channel = ChannelUrl("phone", f"json://{one.address}/a, json://{two.address}/b")
        assert send(channel, "Refill now", "box a", 3, 5.0).outcome == "accepted"
        assert (len(one.received), len(two.received)) == (1, 1)


@pytest.mark.parametrize(
    ("url", "good"),
    [
        ("json://", False),
        ("ntfy://", True),  # the library takes it, and fails at the send
        ("nosuch://host", False),
        ("https://example.invalid/a/b", False),
        ("", False),
        ("tgram://short", False),
        ("://", False),
    ],
)
def test_what_is_an_address_is_the_same_by_both_ways(
    url: str, good: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert usable(ChannelUrl("phone", url)) is good
    monkeypatch.setattr(plugin, "plugin_of", lambda _scheme: None)
    assert usable(ChannelUrl("phone", url)) is good
