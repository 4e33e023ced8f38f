"""The last pages: what each box taught, what to change next time, what the figures rest on."""

from html import escape

from coldbrood.brooder.sizing import Sizing
from coldbrood.report import markup as m
from coldbrood.report.account import Account
from coldbrood.report.plots import holds_plot
from coldbrood.report.summary import degrees_label
from coldbrood.report.taught import OUTDOOR_C, Taught
from coldbrood.report.words import SURE, Words
from coldbrood.watch.localtime import age_days
from coldbrood.watch.wording import sentence


def lessons(account: Account) -> str:
    """The sections in order."""
    return "\n".join(
        (*(_taught(account, taught) for taught in account.taught), _changes(account), _rests_on(account))
    )


def _taught(account: Account, taught: Taught) -> str:
    words = account.words
    return m.section(
        f"taught-{taught.box}",
        words.say("What {box} taught", box=words.box(taught.box)),
        m.paragraph(_basis(words, taught)),
        m.plot(
            holds_plot(words, taught),
            words.safe("How long a fill holds by outdoor air and age: bar 10 to 90 %, line the middle."),
        ),
        _holds_table(words, taught),
        _helps_table(account, taught),
    )


def _holds_table(words: Words, taught: Taught) -> str:
    rows = [
        (
            words.safe("day {day}, floor {floor}", day=f"{one.age_days:g}", floor=words.degrees(one.floor_c)),
            *(
                hours_range(words, f"hold-{taught.box}-{one.age_days:g}-{out_c:g}", sizing)
                for out_c, sizing in zip(OUTDOOR_C, one.at, strict=True)
            ),
        )
        for one in taught.holds
    ]
    head = (words.safe("Age"), *(degrees_label(words, out_c) for out_c in OUTDOOR_C))
    return m.table(words.safe("Hold of a fill with {n} chicks", n=taught.chicks), head, rows, "figures")


def _helps_table(account: Account, taught: Taught) -> str:
    words, spec = account.words, account.facts.site.boxes[taught.box]
    rows = [
        (
            escape(sentence(words.help(spec, one))),
            words.hold(f"help-{taught.box}-{one.key}-before", one.before.median_h),
            words.hold(f"help-{taught.box}-{one.key}-after", one.after.median_h),
        )
        for one in taught.helps
    ]
    caption = words.safe(
        "What would change it on day 2 and a night of {colder}, the middle of these nights' lows",
        colder=words.degrees(taught.helps_outdoor_c),
    )
    return m.table(caption, (words.safe("Change"), words.safe("now"), words.safe("then")), rows, "figures")


def hours_range(words: Words, name: str, sizing: Sizing) -> str:
    """A hold as middle and range."""
    early, middle, late = (
        words.hold(f"{name}-{at}", value)
        for at, value in (("early", sizing.early_h), ("median", sizing.median_h), ("late", sizing.late_h))
    )
    return words.safe("{middle} ({early} to {late})", middle=middle, early=early, late=late)


def _basis(words: Words, taught: Taught) -> str:
    if not taught.readings_taught:
        return words.safe("Nothing was read in this box: the figures are those of the box on paper.")
    f = taught.figures
    return words.safe(
        "From the readings: the jug gives {jug} W for each kelvin it is warmer than the box (deviation "
        "{jug_sd}), the box loses {box} W for each kelvin to outdoors ({box_sd}); so a full box cools with a "
        "time constant of {slow} h ({slow_sd}). Sureness at the end: {sure}. The next batch begins with "
        "this.",
        jug=words.plain(f["k_jug_w_per_k"], 2),
        jug_sd=words.plain(f["k_jug_w_per_k_sd"], 2),
        box=words.plain(f["k_box_w_per_k"], 2),
        box_sd=words.plain(f["k_box_w_per_k_sd"], 2),
        slow=words.plain(f["slow_h"], 1),
        slow_sd=words.plain(f["slow_h_sd"], 1),
        sure=words.say(SURE[taught.sure]),
    )


# ---- the end


def _changes(account: Account) -> str:
    words = account.words
    title = words.say("What to change next time")
    if not account.changes:
        return m.section("next-time", title, m.paragraph(words.safe("The figures ask for no change.")))
    rows = [
        (
            escape(change.act),
            m.figure(f"change-{change.key}", change.value, f"{words.rough(change.value)} {change.unit}"),
            escape(change.why),
        )
        for change in account.changes
    ]
    head = (words.safe("Act"), words.safe("Figure"), words.safe("Why"))
    return m.section("next-time", title, m.table(words.safe("With the figure behind it"), head, rows))


def _rests_on(account: Account) -> str:
    facts, words = account.facts, account.words
    readings = sum(len(series.wall_s) for series in facts.boxes.values())
    said = words.safe(
        "{boxes} readings of the boxes and {outside} of the air outside, {unsure} of them taken while the "
        "clock was not known to be right; those of unknown age are left out. A reading stands for the time "
        "until the next, at most 15 minutes. A refill bears the time at which the readings or the note put "
        "it. Floors and ceilings are those of the age, moved by the look-ins, as the daemon took them. "
        "Forecasts are those kept at bedtime; a night is judged where they rested on readings and the box "
        "was seen for four fifths of it.",
        boxes=words.count("readings", readings),
        outside=words.count("outdoor-readings", len(facts.outdoor.wall_s)),
        unsure=words.count("clock-unsure", facts.clock_unsure),
    )
    age = words.safe("The batch is at day {day}.", day=words.plain(age_days(facts.site, facts.told.to_s), 1))
    return m.section("rests-on", words.say("What the figures rest on"), m.paragraph(said), m.paragraph(age))
