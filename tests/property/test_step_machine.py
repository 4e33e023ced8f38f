"""Promise: whatever comes in whatever order, the whole step raises nothing and keeps the laws of the design.

Silence clears nothing, critical is told at any hour and never held back, nothing floods, no message is lost,
a restart or a step of the clock changes no alarm, and the same state and event give the same result.
"""

import pytest
from hypothesis import HealthCheck, settings
from step_machine import Watch

from coldbrood.watch.events import Event
from coldbrood.watch.step import HANDLERS

pytestmark = pytest.mark.timeout(600)  # some 20 s of processor, and the machine may be busy

TestWatch = Watch.TestCase
TestWatch.settings = settings(
    max_examples=12,
    stateful_step_count=40,
    deadline=None,  # the machine is shared: no check of time
    suppress_health_check=[HealthCheck.too_slow],
    derandomize=True,
)


def test_every_event_there_is_has_its_handler() -> None:
    assert set(HANDLERS) == set(Event.__args__)
