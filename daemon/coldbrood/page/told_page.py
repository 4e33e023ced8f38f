"""What the keeper told: the newest with its undo, the list, and the page with every form of one box."""

from coldbrood.page.acts import can_be_undone, cause_of
from coldbrood.page.desk import Desk
from coldbrood.page.forms import Forms
from coldbrood.page.markup import Child, Html, tag
from coldbrood.page.now_page import box_name
from coldbrood.page.phrases import CAUSES, KINDS, LOOK_INS
from coldbrood.page.speech import Speech
from coldbrood.watch.events import Note
from coldbrood.watch.siteview import SiteView
from coldbrood.watch.takeback import keys_taken_back

RECENT_S = 900.0
LISTED_S = 3 * 86_400.0
LISTED_MOST = 30


def notes_since(desk: Desk, view: SiteView, seconds: float) -> list[Note]:
    """Notes of the past, newest first. Raises JournalError."""
    with desk.reader() as reader:
        found = reader.notes(view.now.wall_s - seconds, view.now.wall_s + 60.0)
    return sorted(found, key=lambda note: note.wall_s, reverse=True)


def newest(notes: list[Note], view: SiteView, speech: Speech, forms: Forms) -> Html | None:
    """What was told in the last quarter of an hour, by whichever phone, with its undo."""
    back = keys_taken_back(notes)
    recent = [n for n in notes if n.kind != "withdraw" and view.now.wall_s - n.wall_s < RECENT_S]
    if not recent:
        return None
    note = recent[0]
    if note.key in back:
        text = speech.say("Taken back: {what}", what=said(speech, note))
        return tag("div", tag("p", text), class_="told")
    text = speech.say(
        "Kept: {what}, {ago}", what=said(speech, note), ago=speech.ago(view.now.wall_s - note.wall_s)
    )
    return tag("div", tag("p", text), undo(view, speech, forms, note), class_="told")


def undo(view: SiteView, speech: Speech, forms: Forms, note: Note) -> Html | None:
    """The button that takes a note back, as long as it can be."""
    if not can_be_undone(view, note):
        return None
    return forms.button("withdraw", speech.say("Undo"), text=note.key, box=note.box)


def said(speech: Speech, note: Note) -> str:
    """A note in words, without its time."""
    words = [speech.say(KINDS.get(note.kind, note.kind))]
    if note.box is not None and len(speech.site.boxes) > 1:
        words.append(box_name(speech, note.box))
    if note.look_in is not None:
        words.append(speech.say(LOOK_INS[note.look_in]))
    if note.count is not None:
        words.append(speech.number(note.count))
    if note.minutes is not None:
        words.append(speech.say("{n} min", n=speech.number(note.minutes, 0)))
    if note.alarm is not None:
        words.append(note.alarm)
    cause, free = cause_of(note.text) if note.kind == "loss" else ("", note.text)
    if cause:
        words.append(speech.say(CAUSES.get(cause, cause)))
    if note.kind == "low":
        words.append(_low(speech, note.text))
    if free and note.kind in ("text", "loss", "refill"):
        words.append(free)
    return ", ".join(words)


def _low(speech: Speech, text: str) -> str:
    """An announced low, which stands in a note in C."""
    try:
        return speech.degrees(float(text))
    except ValueError:
        return text


def listed(notes: list[Note], view: SiteView, speech: Speech, forms: Forms) -> Html | None:
    """The last notes, each with its undo."""
    back = keys_taken_back(notes)
    shown = [note for note in notes if note.kind != "withdraw"][:LISTED_MOST]
    if not shown:
        return None
    lines = [
        tag(
            "li",
            tag("span", speech.clock_near(note.wall_s, view.now.wall_s), class_="name"),
            " ",
            tag("s", said(speech, note)) if note.key in back else said(speech, note),
            speech.say(" (taken back)") if note.key in back else None,
            undo(view, speech, forms, note),
        )
        for note in shown
    ]
    return tag("section", tag("h2", speech.say("Told")), tag("ul", lines, class_="log"))


def body(view: SiteView, speech: Speech, forms: Forms, notes: list[Note], box: str) -> list[Child]:
    """Every form of one box."""
    name = box_name(speech, box)
    if forms.guest:
        return [tag("h1", name), tag("p", speech.say("This link is for looking only."))]
    chicks = view.state.sight.boxes[box].chicks
    vet = speech.say(
        "A sick or injured chick is a case for a vet. Wash your hands: healthy chicks carry germs too."
    )
    scald = speech.say("Carry the jug closed: the water scalds.")
    return [
        tag("h1", speech.say("Tell of {box}", box=name)),
        tag(
            "section",
            forms.refilled(box, speech.say("Refilled just now"), "large"),
            forms.refilled_before(box),
            tag("p", scald, class_="why"),
        ),
        tag("section", forms.look_in(box), id="look-in"),
        tag("section", forms.loss(box), tag("p", vet, class_="why")),
        tag("section", forms.count(box, chicks)),
        tag("section", forms.low()),
        tag("section", forms.words(box)),
        listed(notes, view, speech, forms),
    ]
