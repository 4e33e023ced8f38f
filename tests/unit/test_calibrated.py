"""Promise: a correction changed in the config is said once in the history, at the start that first has it,
and holds for the readings from then on only.
"""

from dataclasses import replace

from sites import START_WALL_S, make_site
from watching import Watching

from coldbrood.codec import pack, unpack
from coldbrood.probes.door import Door
from coldbrood.watch.events import Started
from coldbrood.watch.site import Site
from coldbrood.watch.state import Ledger


def corrected(site: Site, offset_c: float, gain: float = 1.0) -> Site:
    probe = replace(site.probes["box-a"], offset_c=offset_c, gain=gain)
    return replace(site, probes={**site.probes, "box-a": probe})


def restart(watching: Watching, site: Site) -> list[tuple[str, str]]:
    """What a start under another config says of corrections, by probe."""
    watching.site, watching.door = site, Door(site.probes)
    before = len(watching.history)
    watching.do(Started(10.0, sure=True))
    lines = [line for line in watching.history[before:] if line.kind == "calibration"]
    return [(line.subject, line.detail) for line in lines]


def test_each_change_is_said_once_and_back_to_none_too() -> None:
    site = make_site()
    watching = Watching(site, START_WALL_S)
    assert [line for line in watching.history if line.kind == "calibration"] == []
    said = "was offset +0.000 C gain 1.0000, is offset -0.250 C gain 1.0000"
    assert restart(watching, corrected(site, -0.25)) == [("box-a", said)]
    assert restart(watching, corrected(site, -0.25)) == []
    ((_, slope),) = restart(watching, corrected(site, -0.25, 1.01))
    assert slope.endswith("is offset -0.250 C gain 1.0100")
    assert watching.state.ledger.offsets == {"box-a": (-0.25, 1.01)}
    assert len(restart(watching, site)) == 1
    assert watching.state.ledger.offsets == {}


def test_a_first_start_with_a_correction_says_it() -> None:
    watching = Watching(corrected(make_site(), 0.5), START_WALL_S)
    assert [line.subject for line in watching.history if line.kind == "calibration"] == ["box-a"]
    assert unpack(pack(watching.state.ledger), Ledger) == watching.state.ledger


def test_the_value_is_raw_times_gain_plus_offset_and_raw_is_kept() -> None:
    watching = Watching(make_site(), START_WALL_S)
    watching.send_c("box-a", 25.0)
    restart(watching, corrected(make_site(), -0.5, 1.02))
    watching.pass_s(300.0)
    watching.send_c("box-a", 26.0)
    watching.send_c("outdoor", 5.0)
    values = [(one.probe, one.raw, round(one.value, 4)) for one in watching.taken]
    assert values == [("box-a", 25.0, 25.0), ("box-a", 26.0, 26.02), ("outdoor", 5.0, 5.0)]
