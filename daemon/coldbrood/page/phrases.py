"""What the watch calls by a key, in words that the page can translate.

A key without words here is shown as it is, never left out; a test holds the tables to the watch's own.
"""

from collections.abc import Mapping
from typing import Final

from coldbrood.page.speech import N_

STATES: Final[Mapping[str, str]] = {
    "too cold": N_("too cold"),
    "too hot": N_("too hot"),
    "refill now": N_("refill now"),
    "cannot see": N_("cannot see"),
    "no reading yet": N_("no reading yet"),
    "refill soon": N_("refill soon"),
    "learning": N_("learning"),
    "all right": N_("all right"),
}

REFILL_REASONS: Final[Mapping[str, str]] = {
    "forecast": N_("by forecast"),
    "forecast-learning": N_("by forecast, box not known yet"),
    "forecast-blind": N_("by estimate, probe silent"),
    "timetable-learning": N_("by timetable, box not known yet"),
    "timetable-blind": N_("by timetable, probe silent"),
    "forecast-no-outdoor": N_("by estimate, no outdoor reading"),
    "timetable-no-outdoor": N_("by timetable, no outdoor reading"),
}

# Title of an alarm; its act. The act comes first in the mind of whoever reads it at night.
ALARMS: Final[Mapping[str, tuple[str, str]]] = {
    "refill-now": (N_("Refill the jug"), N_("Carry it closed: the water scalds.")),
    "under-hard-floor": (
        N_("Far too cold"),
        N_("Warm the chicks first, in your hands if need be; then the jug. The water scalds."),
    ),
    "too-hot": (
        N_("Too hot"),
        N_("Lift the lid a little or take the jug out; shade, water. Panting: do it at once."),
    ),
    "probe-silent": (N_("Probe silent"), N_("Look at the box; then battery, cable, Wi-Fi.")),
    "no-outdoor": (
        N_("No outdoor reading"),
        N_("Forecasts go on with a wider range. Look at its battery and place."),
    ),
    "probe-wrong": (N_("Probe reads wrong"), N_("Look at the sensor and its cable.")),
    "probes-swapped": (
        N_("Probes swapped?"),
        N_("Look which probe hangs where, and whether the outdoor one stands in the sun."),
    ),
    "battery-low": (N_("Battery low"), N_("Change or charge it by day, before it goes silent.")),
    "refill-not-seen": (N_("No refill seen"), N_("Is the water hot, is the jug in its place?")),
    "daemon-was-down": (N_("The watch was down"), N_("Nothing was watched. Look at each box once.")),
    "broker-gone": (
        N_("Cannot hear any probe"),
        N_("The broker is gone. The watch goes on from an estimate and the timetable."),
    ),
    "journal-failing": (
        N_("The journal cannot be written"),
        N_("Alarms go on. Make room on the disk or change it."),
    ),
}

ALARM_REASONS: Final[Mapping[str, str]] = {
    "under-floor": N_("the box is under its floor"),
    "forecast": N_("by forecast"),
    "forecast-learning": N_("by forecast, box not known yet"),
    "forecast-blind": N_("by estimate, probe silent"),
    "timetable-learning": N_("by timetable, box not known yet"),
    "timetable-blind": N_("by timetable, probe silent"),
    "forecast-no-outdoor": N_("by estimate, no outdoor reading"),
    "timetable-no-outdoor": N_("by timetable, no outdoor reading"),
    "under-hard-floor": N_("under the hard floor"),
    "above-ceiling": N_("over the ceiling"),
    "over-hard-ceiling": N_("far over the ceiling"),
    "silent": N_("nothing heard for too long"),
    "never-heard": N_("never heard"),
    "only-refused": N_("only values that cannot be true"),
    "refused": N_("values that cannot be true"),
    "stuck": N_("its value does not move"),
    "leaps": N_("two senders under one name, or a loose contact"),
    "colder-by-night": N_("the box reads colder than outside"),
    "far-colder-by-day": N_("the box reads far colder than outside"),
    "too-hot-if-swapped": N_("over the ceiling, if the probes are swapped"),
    "no-rise-after-nudge": N_("asked for, and no rise since"),
    "noted-no-rise": N_("noted, and no rise since"),
    "battery_v-low": N_("its volts are low"),
    "battery_pct-low": N_("its charge is low"),
    "no-link": N_("no link"),
    "commit-failed": N_("a commit failed"),
    "was-down": N_("it was down"),
    "was-down-unknown": N_("it was down, for how long is not known"),
}

ALARM_STATES: Final[Mapping[str, str]] = {
    "unacknowledged": N_("waits for an answer"),
    "acknowledged": N_("acknowledged"),
    "returned-unacknowledged": N_("over, not yet acknowledged"),
    "shelved": N_("shelved"),
    "suppressed": N_("behind a greater alarm"),
    "out-of-service": N_("out of service"),
}

LOOK_INS: Final[Mapping[str, str]] = {
    "huddled": N_("huddled"),
    "spread": N_("spread"),
    "panting": N_("panting"),
    "drinking": N_("drinking"),
    "loud": N_("loud"),
    "apart": N_("one apart"),
    "weak": N_("one weak"),
}

KINDS: Final[Mapping[str, str]] = {
    "refill": N_("Refilled"),
    "count": N_("Count"),
    "loss": N_("Loss"),
    "look-in": N_("Look-in"),
    "acknowledge": N_("Acknowledged"),
    "shelve": N_("Shelved"),
    "unshelve": N_("Shelf ended"),
    "text": N_("Note"),
    "low": N_("Low announced"),
    "test": N_("Test alert"),
    "withdraw": N_("Taken back"),
    "batch-start": N_("Batch begun"),
    "batch-close": N_("Batch ended"),
    "aside": N_("Probe set aside"),
}

CAUSES: Final[Mapping[str, str]] = {
    "unknown": N_("not known"),
    "journey": N_("journey"),
    "weak": N_("weak from the start"),
    "cold": N_("cold"),
    "heat": N_("heat"),
    "piled": N_("piled up"),
    "pasted": N_("pasted vent"),
    "predator": N_("predator"),
    "other": N_("something else"),
}

BAND_REASONS: Final[Mapping[str, str]] = {
    "floor raised, chicks seen huddled": N_("floor raised, chicks seen huddled"),
    "floor let down, chicks seen spread": N_("floor let down, chicks seen spread"),
    "ceiling lowered, chicks seen panting": N_("ceiling lowered, chicks seen panting"),
}

TIMETABLE_REASONS: Final[Mapping[str, str]] = {
    "chicks seen huddled": N_("chicks seen huddled"),
    "freezing night": N_("freezing night"),
    "day near freezing": N_("day near freezing"),
    "warm days and nights": N_("warm days and nights"),
    "first three days": N_("first three days"),
    "first week": N_("first week"),
    "second week": N_("second week"),
    "days or nights not yet warm, or not known": N_("days or nights not yet warm, or not known"),
}

HELPS: Final[Mapping[str, str]] = {
    "insulation": N_("20 mm more insulation"),
    "leak": N_("fewer leaks, air enough left to breathe"),
    "litres": N_("half as much water again"),
    "jugs": N_("one jug more"),
    "chicks": N_("4 chicks more"),
    "night": N_("a night 5 K colder"),
}

PLAN_REASONS: Final[Mapping[str, str]] = {
    "no plan keeps the risk; this one comes nearest": N_("no plan keeps the risk; this one comes nearest"),
    "without a waking the box goes under its floor": N_("without a waking the box goes under its floor"),
    "without a waking the box goes under its floor even filled at bedtime": N_(
        "without a waking the box goes under its floor even filled at bedtime"
    ),
    "one fill at bedtime holds to morning": N_("one fill at bedtime holds to morning"),
    "holds to morning without a fill": N_("holds to morning without a fill"),
}

REFUSALS: Final[Mapping[str, str]] = {
    "not-a-number": N_("not a number"),
    "out-of-range": N_("out of range"),
    "power-on-value": N_("power-on value"),
    "disconnected-value": N_("disconnected"),
    "jump": N_("a jump no box makes"),
    "leaps": N_("leaps to and fro"),
    "older-than-taken": N_("older than one taken"),
    "unknown-probe": N_("unknown probe"),
    "retained": N_("kept by the broker"),
    "from-the-future": N_("from the future"),
    "bad-payload": N_("not readable"),
    "too-large": N_("too large"),
    "no-temperature": N_("no temperature"),
    "crc": N_("checksum wrong"),
    "sensor-missing": N_("sensor missing"),
    "too-often": N_("sent far too often"),
}

# What a part says of itself in a sentence of its own: see `page/machine.py`. {names} stand for what varies;
# of two that fit, the first is taken.
MACHINE: Final[tuple[str, ...]] = (
    N_("broker"),
    N_("journal"),
    N_("probe {name}"),
    N_("channels"),
    N_("channel {name}"),
    N_("board"),
    N_("the sounder: {fault}"),
    N_("the all-well signal: {fault}"),
    N_("the page: {fault}"),
    N_("telling of sleep: {fault}"),
    N_("no link"),
    N_("not connected yet"),
    N_("not heard"),
    N_("none, so nothing can reach anyone"),
    N_("its last message did not get through, {why}"),
    N_("is to shut down"),
    N_("the folder of the journal cannot be looked at ({fault})"),
    N_("the folder of the journal may not be written"),
    N_("the disk has {n} MB left"),
    N_("the sounder's program {program} is not there or may not be run"),
    N_("{program} failed with code {code}"),
    N_("cannot start {program}: {fault}"),
    N_("answered with HTTP {code}"),
    N_("not reached ({fault})"),
    N_("no answer that makes sense ({fault})"),
    N_("no connection"),
    N_("no answer in time"),
    N_("the connection broke before an answer came"),
    N_("failed without a status"),
    N_("outcome not known"),
    N_("joined after {channel}"),
    N_("settled before it was sent"),
    N_("settled while being sent, outcome not known"),
    N_("settled while being sent: {detail}"),
    N_("overtaken by {message}"),
    N_("held back: {n} messages in {minutes} min"),
    N_("24 h: {detail}"),
    N_(
        "the broker at {place} refuses the user name or password: check broker.username and the broker's "
        "password file"
    ),
    N_("the broker at {place} refuses the connection: {reason}"),
    N_("no host is known by the name {host}: check broker.host and the network"),
    N_("nothing answers at {place}: start the broker, or check broker.host and broker.port"),
    N_("the certificate of the broker at {place} is not trusted: check broker.tls_ca"),
    N_("no answer in time from {place}: check broker.host and the network"),
    N_("cannot reach the broker at {place}: {fault}"),
    N_("the connection to the broker at {place} broke; trying again"),
    N_("the broker refuses the topic {topic}: allow it in its access list"),
    N_("journal {path}: {what}: {act}"),
    N_("no space left on the disk ({fault})"),
    N_("it may not be written ({fault})"),
    N_("it may not be opened ({fault})"),
    N_("it cannot be opened ({fault})"),
    N_("the disk reports an error ({fault})"),
    N_("another program holds it ({fault})"),
    N_("it is damaged ({fault})"),
    N_("it cannot be used ({fault})"),
    N_("the file was moved or deleted"),
    N_("its directory does not exist"),
    N_("its directory may not be written"),
    N_("free some space"),
    N_("check its owner and rights, and that the disk is writable"),
    N_("check its owner and rights"),
    N_("check that its directory exists and may be written"),
    N_("check the card and its free space; replace it if this stays"),
    N_("close the other program"),
    N_("it is set aside, and a new one made"),
    N_("put it back, or a new one is made"),
    N_("make it: {command}"),
    N_("check the disk and its rights"),
    N_("check the owner and rights of its directory"),
    N_("check the owner and rights of the directory"),
    N_("see the detail"),
)
