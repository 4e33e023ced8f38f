"""Promise: a probe silent, stuck, impossible, doubled or from the future is named, and is not believed."""

from fault_probes import row


def test_each_way_a_probe_goes_wrong_has_its_own_alarm_and_the_well_one_has_none() -> None:
    made = row(long=False)
    assert made.wrong == []
    assert made.lost == 0
