"""The last pages: what each box taught, what to change next time, what the figures rest on."""

from html import escape

from coldbrood.brooder.sizing import Sizing
from coldbrood.report import markup as m
from coldbrood.report.account import Account
from coldbrood.report.plots import holds_plot
from coldbrood.report.summary import degrees_label, hours
from coldbrood.report.taught import OUTDOOR_C, Taught
from coldbrood.watch.localtime import age_days, degrees_text
from coldbrood.watch.wording import box_title, sentence


def lessons(account: Account) -> str:
    """The sections in order."""
    return "\n".join(
        (*(_taught(account, taught) for taught in account.taught), _changes(account), _rests_on(account))
    )


def _taught(account: Account, taught: Taught) -> str:
    keeper = account.facts.site.keeper
    rows = [
        (
            f"day {holds.age_days:g}, floor {degrees_text(keeper, holds.floor_c)}",
            *(
                hours_range(f"hold-{taught.box}-{holds.age_days:g}-{out_c:g}", sizing)
                for out_c, sizing in zip(OUTDOOR_C, holds.at, strict=True)
            ),
        )
        for holds in taught.holds
    ]
    helped = [
        (
            escape(sentence(help_.change)),
            hours(f"help-{taught.box}-{help_.key}-before", help_.before.median_h),
            hours(f"help-{taught.box}-{help_.key}-after", help_.after.median_h),
        )
        for help_ in taught.helps
    ]
    title = f"What {box_title(taught.box)} taught"
    colder = degrees_text(keeper, taught.helps_outdoor_c)
    return m.section(
        f"taught-{taught.box}",
        title,
        m.paragraph(_basis(taught)),
        m.plot(
            holds_plot(taught),
            "How long a fill holds by outdoor air and age: bar 10 to 90 %, line the middle.",
        ),
        m.table(
            f"Hold of a fill with {taught.chicks} chicks",
            ("Age", *(degrees_label(out_c) for out_c in OUTDOOR_C)),
            rows,
            "figures",
        ),
        m.table(
            f"What would change it on day 2 and a night of {colder}, the middle of these nights' lows",
            ("Change", "now", "then"),
            helped,
            "figures",
        ),
    )


def hours_range(name: str, sizing: Sizing) -> str:
    """A hold as middle and range."""
    early, middle, late = (
        hours(f"{name}-{at}", value)
        for at, value in (("early", sizing.early_h), ("median", sizing.median_h), ("late", sizing.late_h))
    )
    return f"{middle} ({early} to {late})"


def _basis(taught: Taught) -> str:
    if not taught.readings_taught:
        return "Nothing was read in this box: the figures are those of the box on paper."
    f = taught.figures
    return (
        f"From the readings: the jug gives {f['k_jug_w_per_k']:.2f} W for each kelvin it is warmer than "
        f"the box (deviation {f['k_jug_w_per_k_sd']:.2f}), the box loses {f['k_box_w_per_k']:.2f} W for "
        f"each kelvin to outdoors ({f['k_box_w_per_k_sd']:.2f}); so a full box cools with a time constant "
        f"of {f['slow_h']:.1f} h ({f['slow_h_sd']:.1f}). Sureness at the end: {taught.sure}. The next "
        "batch begins with this."
    )


# ---- the end


def _changes(account: Account) -> str:
    if not account.changes:
        return m.section(
            "next-time", "What to change next time", m.paragraph("The figures ask for no change.")
        )
    rows = [
        (
            escape(change.act),
            m.figure(f"change-{change.key}", change.value, f"{change.value:.3g} {change.unit}"),
            escape(change.why),
        )
        for change in account.changes
    ]
    return m.section(
        "next-time",
        "What to change next time",
        m.table("With the figure behind it", ("Act", "Figure", "Why"), rows),
    )


def _rests_on(account: Account) -> str:
    facts = account.facts
    readings = sum(len(series.wall_s) for series in facts.boxes.values())
    words = (
        f"{m.count('readings', readings)} readings of the boxes and "
        f"{m.count('outdoor-readings', len(facts.outdoor.wall_s))} of the air outside, "
        f"{m.count('clock-unsure', facts.clock_unsure)} of them taken while the clock was not known to be "
        "right; those of unknown age are left out. A reading stands for the time until the next, at most "
        "15 minutes. A refill bears the time at which the readings or the note put it. "
        "Floors and ceilings are those of the age, moved by the look-ins, as the daemon took them. "
        "Forecasts are those kept at bedtime; a night is judged where they rested on readings and the "
        "box was seen for four fifths of it."
    )
    age = f"The batch is at day {age_days(facts.site, facts.told.to_s):.1f}."
    return m.section("rests-on", "What the figures rest on", m.paragraph(words), m.paragraph(age))
