"""What to change next time, each with the figure behind it. The gravest first; nothing is said without one.

The bounds at which something is worth saying are our own choice, no source.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from statistics import mean, median
from typing import Final

from coldbrood.brooder.sizing import median_or_day_h
from coldbrood.report.chicks import Loss
from coldbrood.report.gather import Facts, Refilled
from coldbrood.report.nights import Night, over_s
from coldbrood.report.taught import Taught
from coldbrood.report.words import Words

COLD_MIN: Final = 30.0
HOT_MIN: Final = 60.0
UNSEEN_PART: Final = 0.02
WARM_K: Final = 3.0
NEAR_BED_S: Final = 5400.0
JUDGED_LEAST: Final = 5
INSIDE_LEAST: Final = 0.6
OFF_K: Final = 1.0
ANSWERED_LEAST: Final = 3


@dataclass(frozen=True, slots=True)
class Change:
    """One thing to do otherwise: the act, why, and the one figure that it rests on with its unit."""

    key: str
    act: str
    why: str
    value: float
    unit: str


@dataclass(frozen=True, slots=True, eq=False)
class Seen:
    """All that advice may rest on."""

    words: Words
    facts: Facts
    nights: Sequence[Night]
    losses: Sequence[Loss]
    taught: Sequence[Taught]


def changes(seen: Seen) -> list[Change]:
    """Everything worth changing."""
    rules: tuple[Callable[[Seen], Iterator[Change]], ...] = (
        _cold,
        _later_losses,
        _early_losses,
        _unseen,
        _hot,
        _forecasts,
        _slow,
        _warm_refills,
        _sends,
    )
    return [change for rule in rules for change in rule(seen)]


def _cold(seen: Seen) -> Iterator[Change]:
    for one in seen.taught:
        cold = [night for night in seen.nights if night.box == one.box and night.under_min >= 1.0]
        minutes = sum(night.under_min for night in cold)
        if minutes < COLD_MIN:
            continue
        best = one.helps[0]
        words = seen.words
        help_words = words.help(seen.facts.site.boxes[one.box], best)
        act = words.say("{box}: {change}", box=words.box_first(one.box), change=help_words)
        why = words.say(
            "Under its floor for {time} in {n} of {all} nights. With that change a fill is reckoned to hold "
            "{after} instead of {before} on a night of {colder}.",
            time=words.time(minutes),
            n=len(cold),
            all=_count(seen, one.box),
            after=words.hours(median_or_day_h(best.after)),
            before=words.hours(median_or_day_h(best.before)),
            colder=words.degrees(one.helps_outdoor_c),
        )
        yield Change(f"cold-{one.box}", act, why, minutes, "min")


def _count(seen: Seen, box: str) -> int:
    return sum(night.box == box for night in seen.nights)


def _later_losses(seen: Seen) -> Iterator[Change]:
    later = [loss for loss in seen.losses if not loss.early]
    count = sum(loss.count for loss in later)
    if count:
        cold = sum(loss.count for loss in later if loss.under_min >= COLD_MIN)
        say = seen.words.say
        why = say(
            "{n} lost after the first 72 hours, {cold} of them after a day with {minutes} min or more under "
            "the floor. Later losses usually come from the brooder (common practice, no source).",
            n=count,
            cold=cold,
            minutes=f"{COLD_MIN:.0f}",
        )
        yield Change("later-losses", say("Look into the later losses with a vet"), why, count, say("chicks"))


def _early_losses(seen: Seen) -> Iterator[Change]:
    count = sum(loss.count for loss in seen.losses if loss.early)
    if count:
        say = seen.words.say
        why = say(
            "{n} lost within 72 hours. Those usually come from the journey (common practice, no source): a "
            "shorter one, and water at once on arrival.",
            n=count,
        )
        yield Change("early-losses", say("Ask for a shorter journey"), why, count, say("chicks"))


def _unseen(seen: Seen) -> Iterator[Change]:
    told = seen.facts.told
    for box, series in seen.facts.boxes.items():
        if not len(series.wall_s):
            continue
        from_s = float(series.wall_s[0])
        hours = (told.to_s - from_s - series.seen_s(told.to_s)) / 3600.0
        part = hours * 3600.0 / max(1.0, told.to_s - from_s)
        if part > UNSEEN_PART:
            words = seen.words
            act = words.say(
                "{box}: a fresh battery, or a better place for the probe's aerial", box=words.box_first(box)
            )
            why = words.say(
                "Not seen for {hours} h in all, that is {part} %.",
                hours=words.plain(hours, 1),
                part=f"{100 * part:.0f}",
            )
            yield Change(f"unseen-{box}", act, why, hours, "h")


def _hot(seen: Seen) -> Iterator[Change]:
    facts = seen.facts
    for box, series in facts.boxes.items():
        minutes = over_s(facts, box, series, facts.told.to_s) / 60.0
        highest = series.highest()
        if minutes < HOT_MIN or highest is None:
            continue
        alarms = [o for o in facts.occasions if o.condition == "too-hot" and o.box == box]
        soon = sum(
            any(0 <= o.first_s - r.wall_s < 3 * 3600 for r in facts.refills if r.box == box) for o in alarms
        )
        words = seen.words
        why = words.say(
            "Over its ceiling for {time}, up to {highest}; {n} of {all} alarms of heat came within 3 h of a "
            "fill.",
            time=words.time(minutes),
            highest=words.degrees(highest[1]),
            n=soon,
            all=len(alarms),
        )
        act = words.say("{box}: fill less hot or less full when it is mild", box=words.box_first(box))
        yield Change(f"hot-{box}", act, why, minutes, "min")


def _forecasts(seen: Seen) -> Iterator[Change]:
    judged = [night for night in seen.nights if night.inside is not None]
    if len(judged) < JUDGED_LEAST:
        return
    inside = sum(bool(night.inside) for night in judged)
    off_c = mean(night.off_c for night in judged if night.off_c is not None)
    say = seen.words.say
    if inside < INSIDE_LEAST * len(judged):
        why = say(
            "The lowest lay inside the forecast's range in {n} of {all} nights; four of five were meant.",
            n=inside,
            all=len(judged),
        )
        yield Change("range", say("Trust the early end of its times"), why, inside, say("nights"))
    if off_c < -OFF_K:
        colder = seen.words.difference(-off_c)
        why = say("Nights came {colder} colder than the middle of the forecast.", colder=colder)
        yield Change("colder", say("Measure litres and insulation anew for the config"), why, -off_c, "K")


def _slow(seen: Seen) -> Iterator[Change]:
    took = [
        (one.answered_s - one.first_s) / 60.0
        for one in seen.facts.occasions
        if one.condition == "refill-now" and one.answered_s is not None
    ]
    lead_min = seen.facts.site.keeper.lead_s / 60.0
    if len(took) >= ANSWERED_LEAST and median(took) > lead_min:
        say = seen.words.say
        why = say(
            "From the nudge to the refill it took {minutes} min in the middle of {n}; it nudges {lead} min "
            "ahead.",
            minutes=f"{median(took):.0f}",
            n=len(took),
            lead=f"{lead_min:.0f}",
        )
        yield Change("lead", say("Be nudged earlier: a longer lead_min"), why, median(took), "min")


def _warm_refills(seen: Seen) -> Iterator[Change]:
    by_day = [one for one in seen.facts.refills if not _by_plan(seen, one)]
    warm = [one for one in by_day if _over_floor_k(seen.facts, one) >= WARM_K]
    if len(by_day) >= ANSWERED_LEAST and 3 * len(warm) >= len(by_day):
        say = seen.words.say
        why = say(
            "{n} of {all} refills (those at bedtime left out) came while the box stood {margin} or more "
            "above its floor.",
            n=len(warm),
            all=len(by_day),
            margin=seen.words.difference(WARM_K),
        )
        act = say("Let more refills wait for the nudge")
        yield Change("warm-refills", act, why, len(warm), say("refills"))


def _by_plan(seen: Seen, one: Refilled) -> bool:
    """Whether it was a fill for the night."""
    return any(abs(one.wall_s - night.from_s) < NEAR_BED_S for night in seen.nights if night.box == one.box)


def _over_floor_k(facts: Facts, one: Refilled) -> float:
    series = facts.boxes[one.box].between(one.wall_s - 3600.0, one.wall_s + 1.0)
    if one.box_c is None or not len(series.wall_s):
        return 0.0
    return one.box_c - facts.band_at(one.box, one.wall_s, float(series.t_s[-1])).floor_c


def _sends(seen: Seen) -> Iterator[Change]:
    count = seen.facts.failed_sends
    if count:
        say = seen.words.say
        why = say("{n} tries to send failed or stayed without an answer.", n=count)
        yield Change("sends", say("Test the channels before the next batch"), why, count, say("tries"))
