"""Promise: what works but may hurt or fail is told, by its field, once, and a sound site is told nothing."""

import tomllib
from pathlib import Path

import pytest

from coldbrood.settings.cautions import cautions
from coldbrood.settings.walk import Walk

LEAST = (Path(__file__).parents[2] / "fixtures" / "configs" / "good" / "least.toml").read_text(
    encoding="utf-8"
)
SOUND = LEAST.replace("jug_litres = 3.8", "jug_litres = 3.8\nfill_c = 43")


def told(*changes: tuple[str, str], text: str = SOUND) -> list[str]:
    for old, new in changes:
        assert text.count(old) == 1, old
        text = text.replace(old, new)
    walk = Walk(tomllib.loads(text))
    assert walk.problems == []
    return [str(caution) for caution in cautions(walk.file)]


def test_a_sound_site_is_told_nothing() -> None:
    assert told() == []


# 12 to 20 chicks a box: common practice, no source.
@pytest.mark.parametrize(
    ("chicks", "wanted"),
    [
        (0, ["box[0].chicks: 0: few to keep each other warm; 12 to 20 a box is common practice"]),
        (11, ["box[0].chicks: 11: few to keep each other warm; 12 to 20 a box is common practice"]),
        (12, []),
        (20, []),
        (21, ["box[0].chicks: 21: they may pile up and crush each other; 12 to 20 a box is common practice"]),
    ],
)
def test_few_or_many_chicks(chicks: int, wanted: list[str]) -> None:
    assert told(("chicks = 16", f"chicks = {chicks}")) == wanted


def test_the_hottest_of_several_fills_is_told_once() -> None:
    start, end = SOUND.index("[[box]]"), SOUND.index("[[probe]]")
    box = SOUND[start:end]
    boxes = "".join(
        box.replace('"a"', f'"{name}"').replace("fill_c = 43", f'fill_c = {fill_c}\njug_plastic = "PP"')
        for name, fill_c in (("a", 50), ("b", 60), ("c", 60))
    )
    probes = "".join(f'[[probe]]\nname = "{name}"\nrole = "box"\nbox = "{name}"\n' for name in "bc")
    text = SOUND[:start] + boxes + SOUND[end:] + probes
    wanted = "box[1].fill_c: 60 C: scalds in 2 seconds, children sooner; cap on, jug upright, hands away"
    assert told(text=text) == [wanted]


def test_without_an_outdoor_probe() -> None:
    text = SOUND.replace('[[probe]]\nname = "outdoor"\nrole = "outdoor"\n', "")
    assert told(text=text) == [
        "probe: no outdoor probe: without one the forecast of the night is a wide guess"
    ]


def test_with_two_outdoor_probes_or_two_in_a_box() -> None:
    outdoor = '[[probe]]\nname = "outdoor-2"\nrole = "outdoor"\n'
    second = '[[probe]]\nname = "box-a-2"\nrole = "box"\nbox = "a"\n'
    assert told(text=SOUND + outdoor) == [
        "probe: 2 outdoor probes: one in the shade is enough; a second only confuses"
    ]
    assert told(text=SOUND + second) == [
        "box[0].name: 2 probes, read as one place: set offset_c to make them agree"
    ]


def test_without_a_channel() -> None:
    assert told(text=SOUND[: SOUND.index("[[channel]]")]) == [
        "channel: no channel: nothing can reach the keeper, whatever happens in the box"
    ]


@pytest.mark.parametrize(
    ("host", "tls", "said"),
    [
        ("hub.lan", "", True),
        ("192.0.2.7", "", True),
        ("hub.lan", 'tls_ca = "ca.pem"', False),
        ("localhost", "", False),
        ("127.0.0.1", "", False),
        ("::1", "", False),
    ],
)
def test_a_password_in_plain_text_over_a_network(host: str, tls: str, said: bool) -> None:
    table = f'[broker]\nhost = "{host}"\nusername = "u"\npassword_env = "P"\n{tls}'
    wanted = "broker.tls_ca: missing: the password goes over the network as plain text"
    assert told(("[broker]", table)) == ([wanted] if said else [])
