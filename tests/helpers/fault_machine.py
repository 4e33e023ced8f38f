"""The state machine of the whole step, run for longer than a test may."""

from fault_rows import Row
from figures import say
from hypothesis import HealthCheck, settings
from hypothesis.stateful import run_state_machine_as_test
from step_machine import Watch


def row(long: bool) -> Row:
    """Random series of events; those of the long form are new each time, and the first to fail is printed."""
    examples, steps = (2000, 60) if long else (10, 40)
    made = Row("anything in any order, under the laws of the design")

    class Counted(Watch):
        """A watch that counts those made, and says how far it is: the long form takes its time."""

        def __init__(self) -> None:
            super().__init__()
            made.places += 1
            if made.places % 100 == 0:
                say(f"  machine: {made.places} series")

    run_state_machine_as_test(
        Counted,
        settings=settings(
            max_examples=examples,
            stateful_step_count=steps,
            deadline=None,  # the machine is shared: no check of time
            suppress_health_check=[HealthCheck.too_slow],
            derandomize=not long,
            database=None,
        ),
    )
    made.note = f"series of up to {steps} events"
    return made
