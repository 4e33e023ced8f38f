"""The board: is each part well, what do the probes say, what stands in the config and why. To read only."""

import os
import shutil
from collections.abc import Iterator, Mapping
from typing import Final

from coldbrood.page.frame import rows
from coldbrood.page.machine import machine_words, trouble_words
from coldbrood.page.markup import Child, Html, tag
from coldbrood.page.now_page import Now
from coldbrood.page.phrases import REFUSALS
from coldbrood.page.speech import N_, Speech
from coldbrood.settings.explain import limits, toml
from coldbrood.settings.schema import sections
from coldbrood.settings.secrets import MASK
from coldbrood.settings.setting import Setting
from coldbrood.watch.sight import ProbeSight
from coldbrood.watch.site import ProbeSpec
from coldbrood.watch.wellness import last_tried, troubles

SENT: Final = "accepted"


def body(page: Now) -> list[Child]:
    """Health, probes, channels with the test, settings. Raises JournalError."""
    say = page.speech.say
    with page.desk.reader() as reader:
        refused = reader.refused_counts()
    return [
        tag("h1", say("Board")),
        _health(page),
        _probes(page, refused),
        _channels(page),
        _settings(page),
    ]


def _health(page: Now) -> Html:
    speech, view = page.speech, page.view
    found = troubles(page.desk.config.site, view.state, view.now)
    said = [trouble_words(speech, trouble) for trouble in found]
    said += [machine_words(speech, aside) for aside in view.state.health.asides]
    wrong = [tag("li", tag("b", speech.say("Not well: ")), words) for words in said]
    if not view.running:
        wrong.insert(0, tag("li", tag("b", speech.say("The watch has stopped."))))
    lines: list[list[Child]] = [[name, text] for name, text in _parts(page)]
    return tag(
        "section",
        tag("h2", speech.say("Health")),
        tag("ul", wrong, class_="sayings") if wrong else tag("p", speech.say("Every part is well.")),
        rows(
            [speech.say("Part"), speech.say("How it is")], lines, speech.say("Parts of the board"), quiet=True
        ),
    )


def _parts(page: Now) -> Iterator[tuple[str, str]]:
    """Broker, journal, disk, clock: how each is, in figures."""
    speech, health, now = page.speech, page.view.state.health, page.view.now
    if page.desk.config.broker is not None:
        if health.link_down_t_s is not None:
            broker = speech.say(
                "away, {ago}: {detail}",
                ago=speech.ago(now.t_s - health.link_down_t_s),
                detail=machine_words(speech, health.link_detail),
            )
        else:
            broker = speech.say("connected") if health.link_seen else speech.say("not connected yet")
        yield speech.say("Broker"), broker
    yield speech.say("Journal"), machine_words(speech, health.journal_detail or "") or speech.say("written")
    yield speech.say("Disk"), _disk(page)
    yield speech.say("Clock"), speech.say("set") if now.synced else speech.say("not set by any time source")
    yield (
        speech.say("Watching"),
        speech.say(
            "since {time}", time=speech.clock_near(now.wall_s - (now.t_s - health.started_t_s), now.wall_s)
        ),
    )


def _disk(page: Now) -> str:
    path = page.desk.config.journal_path
    try:
        free, size = shutil.disk_usage(path.parent).free, os.stat(path).st_size
    except OSError as fault:
        return str(fault.strerror)
    return page.speech.say(
        "{free} GB free, journal {size} MB",
        free=page.speech.number(free / 1e9),
        size=page.speech.number(size / 1e6, 2),
    )


def _probes(page: Now, refused: Mapping[tuple[str, str], int]) -> Html:
    speech = page.speech
    head = [
        speech.say(text) for text in (N_("Probe"), N_("Reads"), N_("Heard"), N_("Battery"), N_("Refused"))
    ]
    lines: list[list[Child]] = [
        _probe(page, spec, page.view.state.sight.probes.get(spec.name), refused)
        for spec in page.desk.config.site.probes.values()
    ]
    return tag(
        "section", tag("h2", speech.say("Probes")), rows(head, lines, speech.say("Probes"), quiet=True)
    )


def _probe(
    page: Now, spec: ProbeSpec, seen: ProbeSight | None, refused: Mapping[tuple[str, str], int]
) -> list[Child]:
    speech = page.speech
    counts = [
        f"{speech.say(REFUSALS.get(why, why))} {n}" for (name, why), n in refused.items() if name == spec.name
    ]
    if seen is None:
        return [
            spec.name,
            speech.say("not known"),
            speech.say("never"),
            "\N{EN DASH}",
            ", ".join(counts) or "0",
        ]
    heard = speech.ago(page.view.now.t_s - seen.heard_t_s)
    return [
        spec.name,
        speech.degrees(seen.temperature_c),
        heard,
        _battery(speech, seen),
        ", ".join(counts) or "0",
    ]


def _battery(speech: Speech, seen: ProbeSight) -> str:
    said = []
    if seen.battery_v is not None:
        said.append(f"{speech.number(seen.battery_v, 2)}\N{NO-BREAK SPACE}V")
    if seen.battery_pct is not None:
        said.append(f"{speech.number(seen.battery_pct, 0)}\N{NO-BREAK SPACE}%")
    return ", ".join(said) or "\N{EN DASH}"


def _channels(page: Now) -> Html:
    """Each channel with its last message, and the button that tries them all."""
    speech, view = page.speech, page.view
    lines: list[list[Child]] = []
    for channel in page.desk.config.site.channels:
        last = last_tried(view.state, channel.name)
        if last is None:
            lines.append([channel.name, speech.say("nothing sent yet"), "\N{EN DASH}"])
            continue
        outcome = (
            speech.say("got through")
            if last.state == SENT
            else speech.say("did not get through: {why}", why=machine_words(speech, last.last_detail))
        )
        lines.append([channel.name, outcome, speech.ago(view.now.t_s - (last.sent_t_s or view.now.t_s))])
    table = rows(
        [speech.say("Channel"), speech.say("Last message"), speech.say("When")],
        lines,
        speech.say("Channels"),
        quiet=True,
    )
    test = page.forms.button("test", speech.say("Send a test alert"))
    hint = speech.say("It goes to every channel at once, as loud as a nudge at night.")
    none = tag("p", speech.say("There is no channel: nothing can reach anyone."), class_="cry-out")
    return tag(
        "section",
        tag("h2", speech.say("Channels")),
        table if lines else none,
        tag("div", test, class_="taps"),
        tag("p", hint, class_="why"),
    )


def _settings(page: Now) -> Html:
    """Every key of the config with its value, limits and meaning, as the config's own reference has them."""
    speech, stated = page.speech, page.desk.config.stated
    parts = []
    for name, entry, keys in sections():
        if "." in name:
            continue
        found = stated.get(name)
        tables = found if isinstance(found, list) else [found if isinstance(found, Mapping) else {}]
        for number, table in enumerate(tables):
            label = f"{name} {table.get('name', number + 1)}" if entry.many else name
            parts.append(
                tag(
                    "details",
                    tag("summary", label),
                    tag("dl", [_key(speech, key, table) for key in keys.values()], class_="keys"),
                    id=f"set-{name}-{number}",
                )
            )
    hint = speech.say(
        "Read here, changed in the config file; the daemon reads it at its start. The explanations are "
        "those of the config file, in English."
    )
    return tag(
        "section", tag("h2", speech.say("Settings")), tag("p", hint, class_="why"), parts, class_="whole"
    )


def _key(speech: Speech, key: Setting, table: Mapping[str, object]) -> Html:
    given = key.key in table
    value = table[key.key] if given else key.default
    shown = MASK if key.secret and given else speech.say("not set") if value is None else toml(value)
    origin = speech.say("in your file") if given else speech.say("default")
    return tag(
        "div",
        tag("dt", key.key, " = ", tag("b", shown), " ", tag("small", origin)),
        tag("dd", f"{key.meaning} ({limits(key)})", lang="en"),
    )
