"""The pages behind the first: each night, each refill, each loss, the sums, and what the figures rest on."""

from collections.abc import Iterator, Sequence
from datetime import datetime
from html import escape

from coldbrood.report import markup as m
from coldbrood.report.account import Account
from coldbrood.report.chicks import masses_g
from coldbrood.report.gather import Occasion
from coldbrood.report.lessons import lessons
from coldbrood.report.nights import SEEN_LEAST, Night
from coldbrood.report.plots import chicks_plot, day_month, lows_plot, nights_plot
from coldbrood.report.water import COLD_C, HEATERS, KJ_PER_K_LITRE, Water, fuel, total
from coldbrood.watch.localtime import clock_text, degrees_text, difference_text
from coldbrood.watch.wording import box_title, sentence


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


def _when(account: Account, wall_s: float) -> str:
    at = datetime.fromtimestamp(wall_s, account.facts.site.zone)
    return f"{day_month(at.date())} {clock_text(account.facts.site, wall_s)}"


# ---- nights


def _nights(account: Account, box: str) -> str:
    nights = account.of_box(box)
    title = f"Nights of {box_title(box)}: foreseen and come"
    if not nights:
        return m.section(f"nights-{box}", title, m.paragraph("No whole night yet."))
    head = ("Evening", "Foreseen lowest", "Came", "", "Outside", "Under floor", "Refills", "Woken")
    rows = [_night_row(account, night) for night in nights]
    says = (
        "Bar: 10 to 90 % of the lowest as foreseen at bedtime, its line the middle; dashed: the floor. "
        "Dot: the lowest that came, a cross where it lay outside the bar, a point where it cannot be "
        "judged."
    )
    course = (
        "The course of each night, by the hour: box, floor (dashed), the range foreseen for the lowest "
        "(shaded), outdoor air (grey), refills (triangles)."
    )
    return m.section(
        f"nights-{box}",
        title,
        m.plot(lows_plot(account.facts, box, nights), says),
        m.table("Each night from bedtime to rising", head, rows, "figures"),
        m.paragraph(_judged_words(account, nights)),
        m.plot(nights_plot(account.facts, box, nights), course),
    )


def _night_row(account: Account, night: Night) -> tuple[str, ...]:
    keeper, name = account.facts.site.keeper, f"night-{night.box}-{night.evening.isoformat()}"
    forecast = night.forecast
    foreseen = "none kept"
    if forecast is not None:
        low, middle, high = (
            m.degrees(f"{name}-foreseen-{at}", celsius, keeper)
            for at, celsius in zip(("low", "middle", "high"), forecast.low_c, strict=True)
        )
        foreseen = f"{middle} ({low} to {high})" if forecast.known else f"by the timetable; {middle}"
    at = "" if night.low_s is None else f" at {clock_text(account.facts.site, night.low_s)}"
    return (
        day_month(night.evening),
        foreseen,
        m.degrees(f"{name}-low", night.low_c, keeper) + at,
        _verdict(night),
        m.degrees(f"{name}-outdoor", night.outdoor_low_c, keeper),
        f"{m.count(f'{name}-under', night.under_min)} min",
        m.count(f"{name}-refills", len(night.refills)),
        m.count(f"{name}-woken", len(night.woken)),
    )


def _verdict(night: Night) -> str:
    if night.inside is None:
        return "not judged" if night.seen_part >= SEEN_LEAST else f"seen {100 * night.seen_part:.0f} %"
    if night.inside:
        return "inside"
    return "colder" if (night.off_c or 0.0) < 0.0 else "warmer"


def _judged_words(account: Account, nights: Sequence[Night]) -> str:
    judged = [night.off_c for night in nights if night.off_c is not None]
    if not judged:
        return "No forecast can be judged: none rested on readings of a box that was seen all night."
    keeper = account.facts.site.keeper
    mean = sum(judged) / len(judged)
    size = sum(abs(off) for off in judged) / len(judged)
    way = "warmer" if mean >= 0 else "colder"
    return (
        f"On average nights came {difference_text(keeper, abs(mean))} {way} than the middle foreseen; "
        f"the middle was {difference_text(keeper, size)} off. The forecast supposes that the plan is kept: a "
        "refill that was not made, or one more, is no fault of it."
    )


# ---- wakings


def _wakings(account: Account) -> str:
    head = ("When", "What for", "Messages", "Answered", "Over")
    rows = [_waking_row(account, n, one) for n, one in enumerate(account.wakings, 1)]
    words = (
        "By the age timetable (common practice, no source), with a fill at bedtime and the weather there "
        f"was, a keeper would have got up {account.timetable_wakings} times in these nights."
    )
    listed = m.table("Each occasion at night", head, rows) if rows else m.paragraph("Not woken at all.")
    return m.section("wakings", "Wakings", listed, m.paragraph(words))


def _waking_row(account: Account, number: int, one: Occasion) -> tuple[str, ...]:
    site = account.facts.site
    answered = "" if one.answered_s is None else (one.answered_s - one.first_s) / 60.0
    return (
        _when(account, one.first_s),
        escape(f"{one.condition.replace('-', ' ')}, {one.subject}"),
        m.count(f"waking-{number}-messages", one.messages),
        "no" if answered == "" else f"after {m.count(f'waking-{number}-answered', float(answered))} min",
        "no" if one.over_s is None else clock_text(site, one.over_s),
    )


# ---- water and fuel


def _water(account: Account) -> str:
    everything = total(part for _, part in account.water)
    keeper = account.facts.site.keeper
    rows = [_water_row(account, box, part) for box, part in account.water]
    cold = degrees_text(keeper, COLD_C)
    sums = (
        f"The sum: litres x {KJ_PER_K_LITRE} kJ for a litre and kelvin (IAPWS-IF97, measured cold) x "
        f"(fill less start) / 3600. Fresh: from {cold} each time, an assumption. Reheated: the same water "
        "from the box's own temperature just before; the jug was warmer, so it is the most that "
        "reheating takes. A fill temperature that was noted counts, else the one in the config."
    )
    burned = [
        (escape(h.name), f"{100 * h.least:.0f} to {100 * h.most:.0f} %", *_burned(everything, n))
        for n, h in enumerate(HEATERS)
    ]
    parts = "What reaches the water and the heat of the fuels are from memory, no source: an estimate."
    return m.section(
        "water",
        "Refills, water and fuel",
        m.table("Hot water", ("Box", "Refills", "Each", "In all", "Fresh", "Reheated"), rows, "figures"),
        m.paragraph(sums),
        m.table(
            "What that takes", ("Heated by", "Reaches the water", "Fresh", "Reheated"), burned, "figures"
        ),
        m.paragraph(parts),
        _refill_list(account),
    )


def _water_row(account: Account, box: str, part: Water) -> tuple[str, ...]:
    spec = account.facts.site.boxes[box]
    return (
        escape(sentence(box_title(box))),
        m.count(f"water-{box}-refills", part.refills),
        f"{spec.jugs} x {spec.jug_litres:g} L",
        f"{m.count(f'water-{box}-litres', part.litres, 1)} L",
        f"{m.count(f'water-{box}-fresh', part.fresh_kwh, 1)} kWh",
        f"{m.count(f'water-{box}-again', part.again_kwh, 1)} kWh",
    )


def _burned(everything: Water, number: int) -> Iterator[str]:
    heater = HEATERS[number]
    unit = "kWh" if heater.kwh_per_kg is None else "kg"
    for way, kwh in (("fresh", everything.fresh_kwh), ("again", everything.again_kwh)):
        least, most = fuel(heater, kwh)
        name = f"fuel-{number}-{way}"
        yield f"{m.count(f'{name}-least', least, 1)} to {m.count(f'{name}-most', most, 1)} {unit}"


def _refill_list(account: Account) -> str:
    keeper = account.facts.site.keeper
    rows = [
        (
            _when(account, one.wall_s),
            escape(box_title(one.box)),
            m.degrees(f"refill-{n}-box", one.box_c, keeper),
            m.DASH if one.fill_c is None else m.degrees(f"refill-{n}-fill", one.fill_c, keeper),
        )
        for n, one in enumerate(account.facts.refills, 1)
    ]
    inside = m.table(
        "Each refill", ("When it was seen", "Box", "Box before", "Fill, if noted"), rows, "figures"
    )
    return f"<details><summary>Each of the {len(rows)} refills</summary>{inside}</details>" if rows else ""


# ---- chicks


def _chicks(account: Account) -> str:
    facts = account.facts
    last = max(1.0, account.last_day)
    masses = masses_g(facts, [last * step / 20.0 for step in range(21)])
    head = ("When", "Age", "Lost", "Lowest of the day before", "Under floor", "Over ceiling", "Told")
    rows = [_loss_row(account, n) for n in range(len(account.losses))]
    listed = m.table("Each loss, with the day before it in the box", head, rows, "figures") if rows else ""
    unexplained = sum(flock.unexplained for flock in account.flocks)
    words = [
        f"{account.lost(early=True)} lost in the first 72 hours, {account.lost(early=False)} later. "
        "Losses within 72 h usually come from the journey, later ones usually from the brooder (common "
        "practice, no source)."
    ]
    if unexplained:
        words.append(f"Head counts differ from the losses told by {unexplained:+d}.")
    return m.section(
        "chicks",
        "Growth and losses",
        m.plot(
            chicks_plot(facts, account.flocks, masses),
            f"Left: chicks by the notes. Right: mass by the table for {escape(facts.site.batch.kind)} "
            f"chicks, from {masses[0][1]:.0f} g to {m.count('mass-last', masses[-1][1])} g at day "
            f"{last:.0f}; nothing was weighed.",
        ),
        m.paragraph(" ".join(words)),
        listed,
    )


def _loss_row(account: Account, index: int) -> tuple[str, ...]:
    loss, name = account.losses[index], f"loss-{index + 1}"
    return (
        _when(account, loss.wall_s),
        f"day {loss.age_days:.1f}, {'first 72 h' if loss.early else 'later'}",
        m.count(f"{name}-count", loss.count),
        m.degrees(f"{name}-low", loss.low_c, account.facts.site.keeper),
        f"{m.count(f'{name}-under', loss.under_min)} min",
        f"{m.count(f'{name}-over', loss.over_min)} min",
        escape(loss.text),
    )
