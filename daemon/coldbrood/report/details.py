"""The pages behind the first: each night, each refill, each loss, the sums, and what the figures rest on."""

from collections.abc import Iterator, Sequence
from html import escape

from coldbrood.page.acts import cause_of
from coldbrood.page.phrases import ALARMS, CAUSES
from coldbrood.report import markup as m
from coldbrood.report.account import Account
from coldbrood.report.chicks import masses_g
from coldbrood.report.gather import Occasion
from coldbrood.report.lessons import lessons
from coldbrood.report.nights import SEEN_LEAST, Night
from coldbrood.report.plots import chicks_plot, lows_plot, nights_plot
from coldbrood.report.water import COLD_C, HEATERS, KJ_PER_K_LITRE, Water, fuel, total
from coldbrood.report.words import CHICKS, Words


def details(account: Account) -> str:
    """All sections after the summary."""
    return "\n".join(
        (
            *(_nights(account, box) for box in account.facts.boxes),
            _wakings(account),
            _water(account),
            _chicks(account),
            lessons(account),
        )
    )


# ---- nights


def _nights(account: Account, box: str) -> str:
    nights, words, safe = account.of_box(box), account.words, account.words.safe
    title = words.say("Nights of {box}: foreseen and come", box=words.box(box))
    if not nights:
        return m.section(f"nights-{box}", title, m.paragraph(safe("No whole night yet.")))
    head = (
        safe("Evening"),
        safe("Foreseen lowest"),
        safe("Came"),
        "",
        safe("Outside"),
        safe("Under floor"),
        safe("Refills"),
        safe("Woken"),
    )
    rows = [_night_row(account, night) for night in nights]
    says = safe(
        "Bar: the middle 80 % that bedtime foresaw for the lowest, its line the middle; dashed: the floor. "
        "Dot: the lowest that came, a cross where it lay outside the bar, a point where it cannot be judged."
    )
    course = safe(
        "The course of each night, by the hour: box, floor (dashed), the range foreseen for the lowest "
        "(shaded), outdoor air (grey), refills (triangles)."
    )
    return m.section(
        f"nights-{box}",
        title,
        m.plot(lows_plot(words, box, nights), says),
        m.table(safe("Each night from bedtime to rising"), head, rows, "figures"),
        m.paragraph(_judged_words(account, nights)),
        m.plot(nights_plot(words, account.facts, box, nights), course),
    )


def _night_row(account: Account, night: Night) -> tuple[str, ...]:
    words, name = account.words, f"night-{night.box}-{night.evening.isoformat()}"
    came = words.heat(f"{name}-low", night.low_c)
    if night.low_s is not None:
        came = words.safe("{low} at {time}", low=came, time=words.clock(night.low_s))
    return (
        words.day_month(night.evening),
        _foreseen(words, name, night),
        came,
        _verdict(words, night),
        words.heat(f"{name}-outdoor", night.outdoor_low_c),
        f"{words.count(f'{name}-under', night.under_min)} min",
        words.count(f"{name}-refills", len(night.refills)),
        words.count(f"{name}-woken", len(night.woken)),
    )


def _foreseen(words: Words, name: str, night: Night) -> str:
    if night.forecast is None:
        return words.safe("none kept")
    low, middle, high = (
        words.heat(f"{name}-foreseen-{at}", celsius)
        for at, celsius in zip(("low", "middle", "high"), night.forecast.low_c, strict=True)
    )
    if not night.forecast.known:
        return words.safe("by the timetable; {middle}", middle=middle)
    return words.safe("{middle} ({early} to {late})", middle=middle, early=low, late=high)


def _verdict(words: Words, night: Night) -> str:
    if night.inside is None:
        if night.seen_part >= SEEN_LEAST:
            return words.safe("not judged")
        return words.safe("seen {n} %", n=f"{100 * night.seen_part:.0f}")
    if night.inside:
        return words.safe("inside")
    return words.safe("colder") if (night.off_c or 0.0) < 0.0 else words.safe("warmer")


def _judged_words(account: Account, nights: Sequence[Night]) -> str:
    words = account.words
    judged = [night.off_c for night in nights if night.off_c is not None]
    if not judged:
        return words.safe(
            "No forecast can be judged: none rested on readings of a box that was seen all night."
        )
    mean = sum(judged) / len(judged)
    size = sum(abs(off) for off in judged) / len(judged)
    return words.safe(
        "On average nights came {mean} {way} than the middle foreseen; the middle was {size} off. The "
        "forecast supposes that the plan is kept: a refill that was not made, or one more, is no fault of "
        "it.",
        mean=words.difference(abs(mean)),
        way=words.say("warmer") if mean >= 0 else words.say("colder"),
        size=words.difference(size),
    )


# ---- wakings


def _wakings(account: Account) -> str:
    safe = account.words.safe
    head = (safe("When"), safe("What for"), safe("Messages"), safe("Answered"), safe("Over"))
    rows = [_waking_row(account, n, one) for n, one in enumerate(account.wakings, 1)]
    said = safe(
        "By the age timetable (common practice, no source), with a fill at bedtime and the weather there "
        "was, a keeper would have got up {n} times in these nights.",
        n=account.timetable_wakings,
    )
    listed = m.table(safe("Each occasion at night"), head, rows)
    return m.section(
        "wakings",
        account.words.say("Wakings"),
        listed if rows else m.paragraph(safe("Not woken at all.")),
        m.paragraph(said),
    )


def _waking_row(account: Account, number: int, one: Occasion) -> tuple[str, ...]:
    site, words = account.facts.site, account.words
    title = words.say(ALARMS.get(one.condition, (one.condition, ""))[0])
    about = words.box(one.subject) if one.subject in site.boxes else one.subject
    answered = over = words.safe("no")
    if one.answered_s is not None:
        minutes = words.count(f"waking-{number}-answered", (one.answered_s - one.first_s) / 60.0)
        answered = words.safe("after {n} min", n=minutes)
    if one.over_s is not None:
        over = words.clock(one.over_s)
    return (
        words.when(one.first_s),
        escape(f"{title}, {about}"),
        words.count(f"waking-{number}-messages", one.messages),
        answered,
        over,
    )


# ---- water and fuel


def _water(account: Account) -> str:
    words, safe = account.words, account.words.safe
    everything = total(part for _, part in account.water)
    rows = [_water_row(account, box, part) for box, part in account.water]
    head = (safe("Box"), safe("Refills"), safe("Each"), safe("In all"), safe("Fresh"), safe("Reheated"))
    sums = safe(
        "The sum: litres x {kj} kJ for a litre and kelvin (IAPWS-IF97, measured cold) x (fill less start) / "
        "3600. Fresh: from {cold} each time, an assumption. Reheated: the same water from the box's own "
        "temperature just before; the jug was warmer, so it is the most that reheating takes. A fill "
        "temperature that was noted counts, else the one in the config.",
        kj=words.rough(KJ_PER_K_LITRE),
        cold=words.degrees(COLD_C),
    )
    burned = [
        (
            escape(words.say(h.name)),
            safe("{low} to {high} %", low=f"{100 * h.least:.0f}", high=f"{100 * h.most:.0f}"),
            *_burned(words, everything, n),
        )
        for n, h in enumerate(HEATERS)
    ]
    heated = (safe("Heated by"), safe("Reaches the water"), safe("Fresh"), safe("Reheated"))
    parts = safe("What reaches the water and the heat of the fuels are from memory, no source: an estimate.")
    return m.section(
        "water",
        words.say("Refills, water and fuel"),
        m.table(safe("Hot water"), head, rows, "figures"),
        m.paragraph(sums),
        m.table(safe("What that takes"), heated, burned, "figures"),
        m.paragraph(parts),
        _refill_list(account),
    )


def _water_row(account: Account, box: str, part: Water) -> tuple[str, ...]:
    spec, words = account.facts.site.boxes[box], account.words
    return (
        escape(words.box_first(box)),
        words.count(f"water-{box}-refills", part.refills),
        f"{spec.jugs} x {words.rough(spec.jug_litres)} L",
        f"{words.count(f'water-{box}-litres', part.litres, 1)} L",
        f"{words.count(f'water-{box}-fresh', part.fresh_kwh, 1)} kWh",
        f"{words.count(f'water-{box}-again', part.again_kwh, 1)} kWh",
    )


def _burned(words: Words, everything: Water, number: int) -> Iterator[str]:
    heater = HEATERS[number]
    unit = "kWh" if heater.kwh_per_kg is None else "kg"
    for way, kwh in (("fresh", everything.fresh_kwh), ("again", everything.again_kwh)):
        least, most = fuel(heater, kwh)
        name = f"fuel-{number}-{way}"
        yield words.safe(
            "{low} to {high} {unit}",
            low=words.count(f"{name}-least", least, 1),
            high=words.count(f"{name}-most", most, 1),
            unit=unit,
        )


def _refill_list(account: Account) -> str:
    words, safe = account.words, account.words.safe
    rows = [
        (
            words.when(one.wall_s),
            escape(words.box(one.box)),
            words.heat(f"refill-{n}-box", one.box_c),
            m.DASH if one.fill_c is None else words.heat(f"refill-{n}-fill", one.fill_c),
        )
        for n, one in enumerate(account.facts.refills, 1)
    ]
    if not rows:
        return ""
    head = (safe("When"), safe("Box"), safe("Box before"), safe("Fill, if noted"))
    inside = m.table(safe("Each refill"), head, rows, "figures")
    title = safe("Each of the {n} refills", n=len(rows))
    return f"<details><summary>{title}</summary>{inside}</details>"


# ---- chicks


def _chicks(account: Account) -> str:
    facts, words = account.facts, account.words
    last = max(1.0, account.last_day)
    masses = masses_g(facts, [last * step / 20.0 for step in range(21)])
    unexplained = sum(flock.unexplained for flock in account.flocks)
    said = [
        words.safe(
            "{early} lost in the first 72 hours, {later} later. Losses within 72 h usually come from the "
            "journey, later ones usually from the brooder (common practice, no source).",
            early=account.lost(early=True),
            later=account.lost(early=False),
        )
    ]
    if unexplained:
        said.append(words.safe("Head counts differ from the losses told by {n}.", n=f"{unexplained:+d}"))
    under = words.safe(
        "Left: chicks by the notes. Right: mass by the table for {kind} chicks, from {first} g to {last} g "
        "at day {day}; nothing was weighed.",
        kind=escape(words.say(CHICKS.get(facts.site.batch.kind, facts.site.batch.kind))),
        first=words.plain(masses[0][1]),
        last=words.count("mass-last", masses[-1][1]),
        day=words.plain(last),
    )
    return m.section(
        "chicks",
        words.say("Growth and losses"),
        m.plot(chicks_plot(words, facts, account.flocks, masses), under),
        m.paragraph(" ".join(said)),
        _loss_table(account),
    )


def _loss_table(account: Account) -> str:
    safe = account.words.safe
    head = (
        safe("When"),
        safe("Age"),
        safe("Lost"),
        safe("Lowest of the day before"),
        safe("Under floor"),
        safe("Over ceiling"),
        safe("Told"),
    )
    rows = [_loss_row(account, n) for n in range(len(account.losses))]
    return (
        m.table(safe("Each loss, with the day before it in the box"), head, rows, "figures") if rows else ""
    )


def _loss_row(account: Account, index: int) -> tuple[str, ...]:
    loss, name, words = account.losses[index], f"loss-{index + 1}", account.words
    cause, told = cause_of(loss.text)
    said = [words.say(CAUSES.get(cause, cause)), told]
    early = words.say("first 72 h") if loss.early else words.say("later")
    return (
        words.when(loss.wall_s),
        words.safe("day {day}, {when}", day=words.plain(loss.age_days, 1), when=early),
        words.count(f"{name}-count", loss.count),
        words.heat(f"{name}-low", loss.low_c),
        f"{words.count(f'{name}-under', loss.under_min)} min",
        f"{words.count(f'{name}-over', loss.over_min)} min",
        escape("; ".join(part for part in said if part)),
    )
