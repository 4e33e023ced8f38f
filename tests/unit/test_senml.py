"""A SenML pack is used whole by the rules of RFC 8428, or refused whole with the record named."""

import pytest

from coldbrood.probes import senml, strict_json
from coldbrood.probes.strict_json import BadPayload


def resolve(text: str) -> tuple[senml.Record, ...]:
    return senml.resolve(strict_json.load(text.encode()))


def test_base_fields_hold_until_the_next_of_their_kind() -> None:
    records = resolve(
        '[{"bn":"a:","n":"x","bu":"Cel","v":1},{"n":"y","v":2},{"bn":"b:","n":"x","v":3},{"n":"y","bu":"V","v":4}]'
    )
    assert [(r.name, r.unit, r.value) for r in records] == [
        ("a:x", "Cel", 1.0),
        ("a:y", "Cel", 2.0),
        ("b:x", "Cel", 3.0),
        ("b:y", "V", 4.0),
    ]


def test_base_value_sum_and_time_are_added() -> None:
    (record,) = resolve('[{"n":"x","bv":20,"v":1.5,"bs":100,"s":5,"bt":-60,"t":-5,"ut":300}]')
    assert (record.value, record.total, record.time_s, record.update_s) == (21.5, 105.0, -65.0, 300.0)


def test_a_base_value_alone_is_no_value() -> None:
    with pytest.raises(BadPayload, match="neither a value nor a sum"):
        resolve('[{"n":"x","bv":20}]')


def test_a_sum_alone_is_enough() -> None:
    (record,) = resolve('[{"n":"x","s":5}]')
    assert (record.value, record.total) == (None, 5.0)


def test_records_come_in_order_of_time() -> None:
    assert [r.value for r in resolve('[{"n":"x","v":1},{"n":"x","t":-60,"v":2}]')] == [2.0, 1.0]


def test_a_record_of_base_fields_alone_only_sets_them() -> None:
    (record,) = resolve('[{"bn":"a:","bu":"Cel"},{"n":"x","v":1}]')
    assert (record.name, record.unit) == ("a:x", "Cel")


@pytest.mark.parametrize(
    ("field", "value"),
    [('"vs":"on"', "on"), ('"vb":false', False), ('"vd":"_-8"', b"\xff\xef"), ('"vd":""', b"")],
)
def test_other_kinds_of_value_are_understood(field: str, value: object) -> None:
    (record,) = resolve(f'[{{"n":"x",{field}}}]')
    assert record.value == value


def test_the_sum_of_base_time_and_time_decides_what_is_relative() -> None:
    below, at = resolve('[{"n":"x","bt":268435400,"t":55,"v":1},{"n":"x","t":56,"v":2}]')
    assert below.relative
    assert not at.relative


def test_unknown_labels_are_passed_over_and_a_lower_version_is_read() -> None:
    (record,) = resolve('[{"bver":5,"n":"x","v":1,"rssi":-70,"note":{"a":[1]}}]')
    assert record.value == 1.0


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("{}", "array"),
        ("1", "array"),
        ("[]", "no record"),
        ("[1]", "not an object"),
        ("[{}]", "not an object"),
        ('[{"n":"x","v":1,"vs":"a"}]', "more than one value"),
        ('[{"n":"x"}]', "neither a value nor a sum"),
        ('[{"v":1}]', "no name"),
        ('[{"n":"","v":1}]', "no name"),
        ('[{"n":"a b","v":1}]', "name"),
        ('[{"n":"-a","v":1}]', "name"),
        ('[{"n":"\\u00e9","v":1}]', "name"),
        ('[{"n":"x\\n","v":1}]', "name"),
        ('[{"bver":11,"n":"x","v":1}]', "newer"),
        ('[{"bver":5,"n":"x","v":1},{"bver":6,"n":"x","v":1}]', "version 6 after 5"),
        ('[{"n":"x","v":1},{"bver":5,"n":"x","v":1}]', "version 5 after 10"),
        ('[{"n":"x","vs":1}]', "vs must be text"),
        ('[{"n":"x","vb":1}]', "vb must be"),
        ('[{"n":"x","v":"1"}]', "v must be a number"),
        ('[{"n":"x","v":true}]', "v must be a number"),
        ('[{"n":"x","v":null}]', "v must be a number"),
        ('[{"n":"x","v":1,"t":"now"}]', "t must be a number"),
        ('[{"n":"x","v":1,"abc_":1}]', "abc_"),
        ('[{"n":"x","vd":"a"}]', "base64url"),
        ('[{"n":"x","vd":"YQ=="}]', "base64url"),
        ('[{"n":"x","vd":"+/+/"}]', "base64url"),
        ('[{"n":"x","bv":1.7e308,"v":1.7e308}]', "beyond any number"),
        ('[{"n":1,"v":1}]', "n must be text"),
    ],
)
def test_a_pack_that_breaks_a_rule_is_refused(text: str, says: str) -> None:
    with pytest.raises(BadPayload, match=says) as caught:
        resolve(text)
    assert caught.value.reason == "bad-payload"


def test_the_number_of_records_has_a_cap() -> None:
    record = '{"n":"x","v":1}'
    assert len(resolve(f"[{','.join([record] * senml.MAX_RECORDS)}]")) == senml.MAX_RECORDS
    with pytest.raises(BadPayload) as caught:
        resolve(f"[{','.join([record] * (senml.MAX_RECORDS + 1))}]")
    assert caught.value.reason == "too-large"
