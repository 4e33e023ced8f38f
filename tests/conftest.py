"""Fixtures shared by the whole suite: a real broker. A missing mosquitto fails the test, it skips none."""

from collections.abc import Callable, Iterator
from contextlib import ExitStack
from pathlib import Path

import pytest
from broker import Broker


@pytest.fixture
def new_broker(tmp_path: Path) -> Iterator[Callable[..., Broker]]:
    """Make and start brokers; the options are those of `Broker`."""
    with ExitStack() as running:

        def make(**options: str) -> Broker:
            folder = tmp_path / f"broker-{len(list(tmp_path.glob('broker-*')))}"
            folder.mkdir()
            broker = Broker(folder, **options)
            running.callback(broker.stop)
            broker.start()
            return broker

        yield make


@pytest.fixture
def broker(new_broker: Callable[..., Broker]) -> Broker:
    """One running broker that takes anybody."""
    return new_broker()
