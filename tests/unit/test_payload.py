"""Each payload format gives the samples meant for this probe, in the daemon's units, or a named refusal."""

import math
from collections.abc import Mapping
from pathlib import Path

import pytest

from coldbrood.probes.payload import MAX_PLAIN_BYTES, Sample, decode
from coldbrood.probes.strict_json import BadPayload
from coldbrood.watch.site import PayloadFormat, ProbeSpec, Quantity, TemperatureUnit

PAYLOADS = Path(__file__).parents[2] / "fixtures" / "payloads"


def probe(
    format_: PayloadFormat,
    name: str = "box-a",
    pointers: Mapping[Quantity, str] | None = None,
    unit: TemperatureUnit = "C",
) -> ProbeSpec:
    return ProbeSpec(name, "box", "a", "mqtt", 60.0, format=format_, pointers=pointers or {}, unit=unit)


def values(samples: tuple[Sample, ...]) -> list[tuple[str, float]]:
    return [(sample.quantity, round(sample.value, 9)) for sample in samples]


def refusal(payload: bytes, spec: ProbeSpec, *, by_name: bool = False) -> BadPayload:
    with pytest.raises(BadPayload) as caught:
        decode(payload, spec, by_name=by_name)
    return caught.value


def senml(payload: str, name: str = "box-a", *, by_name: bool = False) -> list[tuple[str, float]]:
    return values(decode(payload.encode(), probe("senml", name), by_name=by_name))


def test_a_bundle_of_a_probe_that_slept_comes_oldest_first() -> None:
    samples = decode((PAYLOADS / "bundle_slept.senml.json").read_bytes(), probe("senml"))
    assert [(s.quantity, s.value, s.age_s) for s in samples] == [
        ("temperature_c", 24.25, 600.0),
        ("temperature_c", 23.875, 300.0),
        ("temperature_c", 23.5, 0.0),
        ("battery_v", 2.61, 0.0),
        ("humidity_pct", 61.5, 0.0),
    ]


def test_an_absolute_time_is_kept_as_unix_time() -> None:
    (sample,) = decode(b'[{"n":"x","u":"Cel","bt":1700000000,"t":-5,"v":20}]', probe("senml"))
    assert (sample.age_s, sample.unix_s) == (None, 1_699_999_995.0)


@pytest.mark.parametrize(
    ("record", "expected"),
    [
        ('"n":"x","u":"Cel","v":20', ("temperature_c", 20.0)),
        ('"n":"x","u":"K","v":293.15', ("temperature_c", 20.0)),
        ('"n":"x","u":"%RH","v":55', ("humidity_pct", 55.0)),
        ('"n":"x","u":"V","v":3', ("battery_v", 3.0)),
        ('"n":"x","u":"mV","v":2950', ("battery_v", 2.95)),
        ('"n":"x","u":"%EL","v":80', ("battery_pct", 80.0)),
        ('"n":"x:signal","u":"dBW","v":-97', ("signal_dbm", -67.0)),
        ('"n":"x:signal","u":"dBm","v":-67', ("signal_dbm", -67.0)),
        ('"n":"x:humidity","u":"/","v":0.5', ("humidity_pct", 50.0)),
        ('"n":"x_rh","u":"%","v":0.5', ("humidity_pct", 50.0)),
        ('"n":"x/battery","u":"/","v":0.5', ("battery_pct", 50.0)),
        ('"n":"level","u":"%","v":1', ("battery_pct", 100.0)),
    ],
)
def test_units_are_converted_at_the_door(record: str, expected: tuple[str, float]) -> None:
    assert senml(f"[{{{record}}}]") == [expected]


def test_records_of_other_units_are_passed_over() -> None:
    pack = '[{"n":"x","u":"Cel","v":20},{"n":"p","u":"Pa","v":1e5},{"n":"r","u":"/","v":0.5},{"n":"k","v":1}]'
    assert senml(pack) == [("temperature_c", 20.0)]


@pytest.mark.parametrize("pack", ['[{"n":"p","u":"Pa","v":1}]', '[{"n":"x","v":20}]', '[{"bn":"x"}]'])
def test_a_pack_with_nothing_of_use_says_so(pack: str) -> None:
    assert refusal(pack.encode(), probe("senml")).reason == "no-temperature"


def test_a_text_for_a_temperature_is_no_number() -> None:
    ((quantity, value),) = senml('[{"n":"x","u":"Cel","vs":"cold"}]')
    assert quantity == "temperature_c"
    assert math.isnan(value)


def test_of_several_sensors_the_one_named_after_the_probe_is_taken() -> None:
    pack = (PAYLOADS / "two_sensors.senml.json").read_text()
    assert senml(pack, "box-a") == [("temperature_c", 24.5), ("humidity_pct", 87.0), ("battery_v", 3.01)]
    assert senml(pack, "yard", by_name=True) == [("temperature_c", 3.25), ("battery_v", 3.01)]


def test_two_temperatures_without_the_probes_name_are_not_guessed_at() -> None:
    fault = refusal((PAYLOADS / "two_sensors.senml.json").read_bytes(), probe("senml", "loft"))
    assert fault.reason == "bad-payload"
    assert "box-a" in fault.detail


def test_on_a_shared_topic_another_probes_temperature_is_not_taken() -> None:
    pack = b'[{"n":"urn:x:yard","u":"Cel","v":3}]'
    assert values(decode(pack, probe("senml"))) == [("temperature_c", 3.0)]
    assert refusal(pack, probe("senml"), by_name=True).reason == "bad-payload"


def test_a_name_matches_at_a_boundary_only() -> None:
    pack = '[{"n":"u:box-a","u":"Cel","v":1},{"n":"u:a","u":"Cel","v":2},{"n":"u:xa","u":"Cel","v":3}]'
    assert senml(pack, "a") == [("temperature_c", 2.0)]


def foreign(pointers: Mapping[Quantity, str], unit: TemperatureUnit = "C") -> list[tuple[str, float]]:
    payload = (PAYLOADS / "foreign_nested.json").read_bytes()
    return values(decode(payload, probe("pointers", pointers=pointers, unit=unit)))


def test_pointers_lead_into_foreign_json() -> None:
    found = foreign({"temperature_c": "/env/temp", "humidity_pct": "/env/rh", "battery_pct": "/power/left"})
    assert found == [("temperature_c", 21.4), ("humidity_pct", 58.2), ("battery_pct", 77.0)]


def test_fahrenheit_is_converted_for_the_temperature_alone() -> None:
    payload = b'{"t":68,"h":68}'
    spec = probe("pointers", pointers={"temperature_c": "/t", "humidity_pct": "/h"}, unit="F")
    assert values(decode(payload, spec)) == [("temperature_c", 20.0), ("humidity_pct", 68.0)]


def test_what_the_firmware_left_out_is_left_out() -> None:
    assert foreign({"temperature_c": "/env/temp", "battery_v": "/env/volts"}) == [("temperature_c", 21.4)]


@pytest.mark.parametrize("pointer", ["/ok", "/sent", "/env", ""])
def test_what_is_there_and_no_number_is_nan(pointer: str) -> None:
    ((_, value),) = foreign({"temperature_c": pointer})
    assert math.isnan(value)


def test_foreign_json_without_any_value_says_so() -> None:
    payload = (PAYLOADS / "foreign_nested.json").read_bytes()
    assert refusal(payload, probe("pointers", pointers={"temperature_c": "/t"})).reason == "no-temperature"


def test_a_pointer_without_its_slash_is_refused() -> None:
    fault = refusal(b'{"t":1}', probe("pointers", pointers={"temperature_c": "t"}))
    assert (fault.reason, "'t'" in fault.detail) == ("bad-payload", True)


def test_a_padded_plain_number_is_read() -> None:
    assert values(decode((PAYLOADS / "plain_padded.txt").read_bytes(), probe("plain"))) == [
        ("temperature_c", 21.5)
    ]


@pytest.mark.parametrize(
    ("text", "celsius"), [("-0.5", -0.5), ("+3", 3.0), ("1e1", 10.0), (".5", 0.5), ("5.", 5.0)]
)
def test_plain_numbers(text: str, celsius: float) -> None:
    assert values(decode(text.encode(), probe("plain"))) == [("temperature_c", celsius)]


def test_plain_fahrenheit_is_converted() -> None:
    assert values(decode(b"212", probe("plain", unit="F"))) == [("temperature_c", 100.0)]


@pytest.mark.parametrize(
    ("payload", "reason"),
    [
        (b"nan", "not-a-number"),
        (b"-Inf", "not-a-number"),
        (b"Infinity", "not-a-number"),
        (b"", "not-a-number"),
        (b" \n", "not-a-number"),
        (b"null", "not-a-number"),
        (b"1e999", "not-a-number"),
        (b"2_1", "bad-payload"),
        (b"2 1", "bad-payload"),
        (b"0x15", "bad-payload"),
        (b"21,5", "bad-payload"),
        (b"21.5C", "bad-payload"),
        (b"21\x00", "bad-payload"),
        ("٢١".encode(), "bad-payload"),
        ("\u00a021".encode(), "bad-payload"),
        (b"1" * (MAX_PLAIN_BYTES + 1), "too-large"),
    ],
)
def test_what_is_no_bare_number_is_refused(payload: bytes, reason: str) -> None:
    assert refusal(payload, probe("plain")).reason == reason
