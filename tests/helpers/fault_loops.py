"""All fault loops of kills, disk, journal, broker, power and clock: long or short, each gives one row."""

from collections.abc import Callable

import fault_broker
import fault_clock
import fault_disk
import fault_journal
import fault_kills
import fault_power
from fault_rows import Row

LOOPS: dict[str, Callable[[bool], Row]] = {
    "kills-by-place": fault_kills.by_place,
    "kills-at-random": fault_kills.at_random,
    "ends": fault_power.ends,
    "last-words": fault_power.last_words,
    "disk-once": fault_disk.once_while_running,
    "disk-for-good": fault_disk.for_good_while_running,
    "disk-at-start": fault_disk.at_the_start,
    "disk-unwritable": fault_disk.unwritable_at_the_start,
    "journal-pages": fault_journal.flips,
    "journal-at-start": fault_journal.at_the_start,
    "journal-under-daemon": fault_journal.under_the_daemon,
    "broker": fault_broker.loops,
    "broker-password": fault_broker.password_changed,
    "clock-steps": fault_clock.steps,
    "clock-boots": fault_clock.boots,
    "clock-summer-time": fault_clock.summer_time,
}
