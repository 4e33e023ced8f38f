"""The resolver gives what RFC 8428 itself says of its own examples and limits."""

import json
from datetime import UTC, datetime

import pytest

from coldbrood.probes import senml, strict_json
from coldbrood.probes.payload import decode
from coldbrood.probes.strict_json import BadPayload
from coldbrood.watch.site import ProbeSpec

# RFC 8428 section 5.1.2, "Multiple Datapoints" (values as kept in reference/standards.md section 3, mark V).
EXAMPLE_A = b"""[
  {"bn":"urn:dev:ow:10e2073a0108006:","bt":1.276020076001e+09,"bu":"A","bver":5,"n":"voltage","u":"V","v":120.1},
  {"n":"current","t":-5,"v":1.2},
  {"n":"current","t":-4,"v":1.3},
  {"n":"current","t":-3,"v":1.4},
  {"n":"current","t":-2,"v":1.5},
  {"n":"current","t":-1,"v":1.6},
  {"n":"current","v":1.7}
]"""

# Section 5.1.3, "Multiple Measurements", resolved in 5.1.4. The sheet keeps its base name, base time, base
# unit, that no record has a name, the %EL record at t 150 and the last t of 180 [V]; the position and
# humidity values between them are from memory [M] and nothing below rests on them alone.
EXAMPLE_B = b"""[
  {"bn":"urn:dev:ow:10e2073a01080063","bt":1.320067464e+09,"bu":"%RH","v":20},
  {"u":"lon","v":24.30621},
  {"u":"lat","v":60.07965},
  {"t":60,"v":20.3},
  {"u":"lon","t":60,"v":24.30622},
  {"u":"lat","t":60,"v":60.07965},
  {"t":120,"v":20.7},
  {"u":"lon","t":120,"v":24.30623},
  {"u":"lat","t":120,"v":60.07966},
  {"u":"%EL","t":150,"v":98},
  {"t":180,"v":21.2},
  {"u":"lon","t":180,"v":24.30628},
  {"u":"lat","t":180,"v":60.07967}
]"""


def resolve(pack: bytes) -> tuple[senml.Record, ...]:
    return senml.resolve(strict_json.load(pack))


def test_example_a_resolves_to_seven_records() -> None:
    name = "urn:dev:ow:10e2073a0108006:"
    records = resolve(EXAMPLE_A)
    assert len(records) == 7
    currents = [r for r in records if r.unit == "A"]
    assert [r.value for r in currents] == pytest.approx([1.2, 1.3, 1.4, 1.5, 1.6, 1.7])
    assert [r.time_s for r in currents] == pytest.approx(
        [1276020071.001, 1276020072.001, 1276020073.001, 1276020074.001, 1276020075.001, 1276020076.001],
        abs=1e-3,
    )
    assert {r.name for r in currents} == {name + "current"}
    (voltage,) = (r for r in records if r.unit == "V")
    assert (voltage.name, voltage.value, round(voltage.time_s, 3)) == (
        name + "voltage",
        120.1,
        1276020076.001,
    )


def test_example_b_resolves_to_records_of_one_name_and_many_units() -> None:
    records = resolve(EXAMPLE_B)
    assert {r.name for r in records} == {"urn:dev:ow:10e2073a01080063"}
    (battery,) = (r for r in records if r.unit == "%EL")
    assert (battery.value, battery.time_s) == (98.0, 1320067614.0)
    assert records[-1].time_s == 1320067644.0
    assert [r.unit for r in records].count("%RH") == 4


def test_example_b_read_as_a_probes_payload_gives_humidity_and_battery() -> None:
    samples = decode(EXAMPLE_B, ProbeSpec("box-a", "box", "a", "mqtt", 60.0))
    assert [(s.quantity, s.unix_s) for s in samples] == [
        ("humidity_pct", 1320067464.0),
        ("humidity_pct", 1320067524.0),
        ("humidity_pct", 1320067584.0),
        ("battery_pct", 1320067614.0),
        ("humidity_pct", 1320067644.0),
    ]


def test_the_least_absolute_time_is_of_1978() -> None:
    # Section 4.5.3: 2**28 seconds; standards.md check value 8, 1978-07-04T21:24:16Z [V, C].
    below, at = resolve(
        json.dumps([{"n": "x", "bt": 2**28 - 1, "v": 1}, {"n": "x", "bt": 2**28, "v": 1}]).encode()
    )
    assert (below.relative, at.relative) == (True, False)
    assert datetime.fromtimestamp(at.time_s, UTC) == datetime(1978, 7, 4, 21, 24, 16, tzinfo=UTC)


@pytest.mark.parametrize("pack", [b'[{"n":"x","v":1,"vs":"a"}]', b'[{"bver":11,"n":"x","v":1}]'])
def test_check_value_9_is_refused_whole(pack: bytes) -> None:
    # Sections 4.2 and 4.4; standards.md check value 9 [V].
    with pytest.raises(BadPayload):
        resolve(pack)


def test_the_percent_sign_is_the_old_name_of_a_ratio() -> None:
    # Section 12.1: "%" is a ratio of 0 to 1 and not a per cent; standards.md section 3 [V].
    (sample,) = decode(b'[{"n":"a:humidity","u":"%","v":0.61}]', ProbeSpec("a", "box", "a", "mqtt", 60.0))
    assert sample.quantity == "humidity_pct"
    assert sample.value == pytest.approx(61.0)
