"""Promise: at bedtime each box is told what it asks of the keeper, also where the title can name only one."""

from sites import START_WALL_S, make_site
from views import T_S, make_hold, make_view

from coldbrood.brooder.plan import NightPlan
from coldbrood.watch.digest import bedtime_words
from coldbrood.watch.events import Now
from coldbrood.watch.wording import Words

HOUR_S = 3600.0
NOW = Now(T_S, START_WALL_S + 12 * HOUR_S, synced=True)  # 22:00


def plan(fill: bool, *wake_h: float) -> NightPlan:
    held = make_hold(300, 330, 360, 400)
    wake_s = tuple(T_S + hours * HOUR_S for hours in wake_h)
    return NightPlan(fill, 75.0, wake_s, None, held, held, (22.0, 23.0, 24.0), 0.05, 4.5, "for the test")


def said(**plans: NightPlan) -> Words:
    site = make_site("".join(plans))
    return bedtime_words(site, NOW, {box: make_view(box=box) for box in plans}, plans)


def test_of_two_boxes_each_line_says_what_its_box_asks() -> None:
    spoken = said(a=plan(True, 3.25), b=plan(True))
    assert spoken.title == "One fill now, up at 01:15: box A"
    assert "Box A: one fill now, up at 01:15. Lowest tonight about 23 C" in spoken.body
    assert "Box B: one fill now, then sleep. Lowest tonight about 23 C" in spoken.body


def test_a_box_that_asks_nothing_says_so_beside_one_that_does() -> None:
    spoken = said(a=plan(False), b=plan(False, 4.0, 6.5))
    assert spoken.title == "No fill now, up at 02:00 and 04:30: box B"
    assert "Box A: sleep through. Lowest" in spoken.body
    assert "Box B: no fill now, up at 02:00 and 04:30. Lowest" in spoken.body


def test_with_one_box_the_title_says_it_and_the_body_does_not_say_it_again() -> None:
    spoken = said(a=plan(True))
    assert spoken.title == "One fill now, then sleep: box A"
    assert spoken.body.startswith("Box A: lowest tonight about 23 C (22 C to 24 C), floor")
    assert "fill" not in spoken.body.removesuffix("Carry the jug closed: the water scalds.")
