"""What if: more litres, one more jug, more straw, more chicks, a colder night: hold and wakings at once."""

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Final

from coldbrood.brooder.bank import Bank
from coldbrood.brooder.estimate import bank_at
from coldbrood.brooder.sizing import Help, Sizing, helps, refitted, size
from coldbrood.brooder.specs import BoxSpec, Flock
from coldbrood.page.frame import rows
from coldbrood.page.markup import Child, Html, tag
from coldbrood.page.now_page import Now, box_name
from coldbrood.page.phrases import HELPS
from coldbrood.page.speech import N_, Speech
from coldbrood.watch.assess import BoxView, outdoor_ahead
from coldbrood.watch.localtime import night_ahead, watch_of
from coldbrood.watch.sight import flock_of
from coldbrood.watch.site import Keeper
from coldbrood.watch.wording import sentence

DAY_H: Final = 24.0
COLDEST_C, WARMEST_C = -40.0, 45.0
# field, what it is called, least, most, step: the limits are those of the config file.
FIELDS: Final = (
    ("jug_litres", N_("Litres in each jug"), 0.5, 40.0, 0.1),
    ("jugs", N_("Jugs"), 1, 10, 1),
    ("insulation_mm", N_("Insulation, mm"), 1.0, 300.0, 1.0),
    ("chicks", N_("Chicks"), 0, 150, 1),
)


@dataclass(frozen=True, slots=True)
class Case:
    """A box, its chicks, the night outside and what was learned; as it stands, or as asked."""

    spec: BoxSpec
    flock: Flock
    outdoor_c: float
    floor_c: float
    learned: Bank | None

    def size(self) -> Sizing:
        """Its hold."""
        return size(self.spec, self.flock, self.outdoor_c, self.floor_c, self.learned)

    def helps(self) -> tuple[Help, ...]:
        """What would help most."""
        return helps(self.spec, self.flock, self.outdoor_c, self.floor_c, self.learned)


def body(page: Now, asked: Mapping[str, str]) -> list[Child]:
    """The question as a form, the answer as a table."""
    speech, views = page.speech, page.view.state.views
    title = tag("h1", speech.say("What if"))
    view = views.get(asked.get("box", "")) or next(iter(views.values()), None)
    if view is None:
        return [title, tag("p", speech.say("No box is in use."))]
    stands = as_it_stands(page, view)
    other, faults = changed(speech, stands, asked)
    return [
        title,
        [tag("p", fault, class_="cry-out", role="alert") for fault in faults],
        _form(page, view, other, list(views)),
        _answer(page, view, stands, other),
        _helps(page, view, stands, "helps" in asked),
    ]


def as_it_stands(page: Now, view: BoxView) -> Case:
    """This box tonight: the coldest of the outdoor forecast up to rising, the floor of now."""
    site, state, now = page.view.site, page.view.state, page.view.now
    flock, spec = flock_of(site, state.sight, view.box, now.wall_s), site.boxes[view.box]
    ahead = outdoor_ahead(site, state.sight, now)
    until_s = watch_of(now, night_ahead(site, now.wall_s)[1])
    coldest_c = min(
        (float(c) for t, c in zip(ahead.t_s, ahead.mean_c, strict=True) if t <= until_s), default=5.0
    )
    learned = None
    if view.sureness != "unknown":
        learned = bank_at(state.sight.boxes[view.box].estimate, spec, now.t_s, ahead, flock)
    return Case(spec, flock, round(coldest_c, 1), view.band.floor_c, learned)


def changed(speech: Speech, stands: Case, asked: Mapping[str, str]) -> tuple[Case, list[str]]:
    """The case as the form asks for it, and what of the form could not be taken."""
    values: dict[str, float] = {}
    faults: list[str] = []
    least_out, most_out = _shown(speech, COLDEST_C), _shown(speech, WARMEST_C)
    for field, label, least, most, _ in (
        *FIELDS,
        ("outdoor", N_("Coldest outside"), least_out, most_out, 1.0),
    ):
        text = asked.get(field, "").strip().replace(",", ".").replace("\N{MINUS SIGN}", "-")
        if not text:
            continue
        value = _float(text)
        if value is None or not least <= value <= most:
            faults.append(
                speech.say(
                    "{field}: {least} to {most}",
                    field=speech.say(label),
                    least=f"{least:g}",
                    most=f"{most:g}",
                )
            )
        else:
            values[field] = value
    spec = replace(
        stands.spec,
        jug_litres=values.get("jug_litres", stands.spec.jug_litres),
        jugs=int(values.get("jugs", stands.spec.jugs)),
        insulation_mm=values.get("insulation_mm", stands.spec.insulation_mm),
    )
    learned = None if stands.learned is None else refitted(stands.learned, stands.spec, spec)
    flock = replace(stands.flock, chicks=int(values.get("chicks", stands.flock.chicks)))
    outdoor_c = _celsius(speech, values["outdoor"]) if "outdoor" in values else stands.outdoor_c
    return Case(spec, flock, outdoor_c, stands.floor_c, learned), faults


def _float(text: str) -> float | None:
    try:
        value = float(text)
    except ValueError:
        return None
    return value if math.isfinite(value) else None


def _shown(speech: Speech, celsius: float) -> float:
    return celsius * 1.8 + 32.0 if speech.site.keeper.unit == "F" else celsius


def _celsius(speech: Speech, shown: float) -> float:
    return (shown - 32.0) / 1.8 if speech.site.keeper.unit == "F" else shown


def night_h(keeper: Keeper) -> float:
    """From bedtime to rising."""
    return ((keeper.rising_s - keeper.bedtime_s) % 86_400) / 3600.0


def wakings(hold_h: float | None, night: float) -> int | None:
    """How often a night with a fill at bedtime asks the keeper up; None where the jug cannot warm the box."""
    if hold_h is None:
        return 0
    if hold_h <= 0.0:
        return None
    return max(0, math.ceil(night / hold_h - 1e-9) - 1)


def _form(page: Now, view: BoxView, case: Case, boxes: list[str]) -> Html:
    """Asked by GET: it changes nothing, and the link to an answer can be kept."""
    speech = page.speech
    now: Mapping[str, float] = {
        "jug_litres": case.spec.jug_litres,
        "jugs": case.spec.jugs,
        "insulation_mm": case.spec.insulation_mm,
        "chicks": case.flock.chicks,
    }
    fields = [
        tag(
            "label",
            speech.say(label),
            tag(
                "input",
                type="number",
                inputmode="decimal",
                name=field,
                value=f"{now[field]:g}",
                min=f"{least:g}",
                max=f"{most:g}",
                step="any" if step < 1 else "1",
            ),
        )
        for field, label, least, most, step in FIELDS
    ]
    outside = f"{_shown(speech, case.outdoor_c):.0f}"
    fields.append(
        tag(
            "label",
            speech.say("Coldest outside, {unit}", unit=speech.unit),
            tag("input", type="number", inputmode="text", name="outdoor", value=outside, step="1"),
        )
    )
    if len(boxes) > 1:
        options = [
            tag("option", sentence(box_name(speech, box)), value=box, selected=box == view.box)
            for box in boxes
        ]
        fields.insert(0, tag("label", speech.say("Which box"), tag("select", options, name="box")))
    return tag(
        "section",
        tag(
            "form",
            tag("div", fields, class_="fields"),
            tag("button", speech.say("Work it out"), class_="large"),
            method="get",
            action="/what-if",
        ),
    )


def _facts(case: Case) -> tuple[BoxSpec, Flock, float]:
    """What can be asked to be other."""
    return case.spec, case.flock, round(case.outdoor_c)


def _answer(page: Now, view: BoxView, stands: Case, other: Case) -> Html:
    speech = page.speech
    cases = [(speech.say("As it stands"), stands)]
    if _facts(other) != _facts(stands):
        cases.append((speech.say("As asked"), other))
    night = night_h(page.view.site.keeper)
    sized = [(name, case.size()) for name, case in cases]
    lines: list[tuple[str, Callable[[Sizing], str]]] = [
        (speech.say("Hold after a fill"), lambda s: hours(speech, s.median_h)),
        (
            speech.say("Range"),
            lambda s: speech.say(
                "{low} to {high}", low=hours(speech, s.early_h), high=hours(speech, s.late_h)
            ),
        ),
        (speech.say("Wakings a night"), lambda s: _wakings_words(speech, s, night)),
        (speech.say("Jug cold, chicks alone"), lambda s: speech.degrees(s.resting_c)),
    ]
    body: list[list[Child]] = [[name, *(said(sizing) for _, sizing in sized)] for name, said in lines]
    source = (
        speech.say("as learned from its readings")
        if stands.learned is not None
        else speech.say("on paper, nothing learned yet")
    )
    caption = speech.say("{box}, {source}", box=sentence(box_name(speech, view.box)), source=source)
    rests = speech.say(
        "For a fill at {fill} when the box stands at its floor of {floor}, and {outside} outside all "
        "night. The range holds eight boxes in ten.",
        fill=speech.degrees(stands.spec.fill_c),
        floor=speech.degrees(stands.floor_c),
        outside=speech.degrees(other.outdoor_c),
    )
    return tag(
        "section",
        rows([speech.say("Figure"), *(name for name, _ in sized)], body, caption),
        tag("p", rests, class_="why"),
    )


def hours(speech: Speech, value: float | None) -> str:
    """A hold in hours."""
    if value is None:
        return speech.say("over 24 h")
    return speech.say("none") if value <= 0.0 else speech.say("{n}\u00a0h", n=speech.number(value))


def _wakings_words(speech: Speech, sizing: Sizing, night: float) -> str:
    """By the middle of the range, and by its early end where that asks more."""
    middle, early = wakings(sizing.median_h, night), wakings(sizing.early_h, night)
    if middle is None:
        return speech.say("it cannot be held")
    if early is None:
        return speech.say("{n}, if it holds at all", n=middle)
    return str(middle) if early == middle else speech.say("{n}, perhaps {more}", n=middle, more=early)


def _helps(page: Now, view: BoxView, case: Case, asked: bool) -> Html:
    """What helps most, worked out only when asked: it takes a while on a small board."""
    speech = page.speech
    title = tag("h2", speech.say("What helps most"))
    if not asked:
        link = tag(
            "a", speech.say("Work it out"), href=f"/what-if?box={view.box}&helps=1#helps", class_="button"
        )
        return tag("section", title, link, id="helps")
    lines: list[list[Child]] = [
        [_change(speech, case, one), hours(speech, one.after.median_h), _gain(speech, one)]
        for one in case.helps()
    ]
    head = [speech.say("Change"), speech.say("Hold"), speech.say("Gain")]
    care = speech.say(
        "Chicks need air: never close the last holes. Keep the jug upright and closed: the water scalds."
    )
    return tag(
        "section",
        title,
        rows(head, lines, speech.say("One change at a time")),
        tag("p", care, class_="why"),
        id="helps",
    )


def _change(speech: Speech, case: Case, one: Help) -> str:
    if one.key == "towel":
        return (
            speech.say("no towel round the jug")
            if case.spec.jug_wrapped
            else speech.say("a towel round the jug")
        )
    return speech.say(HELPS.get(one.key, one.change))


def _gain(speech: Speech, one: Help) -> str:
    sign = "+" if one.gain_h >= 0.0 else ""
    return speech.say("{n}\u00a0h", n=f"{sign}{speech.number(one.gain_h)}")
