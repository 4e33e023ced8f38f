"""A broker inside the demo's own process, on loopback only, so that nothing else need be installed.

It keeps nothing over a restart and hands everything to anyone who asks: good for a demo, never for
a site. A site runs its own broker (deploy/).
"""

import asyncio
import logging
import socket
import threading
from types import TracebackType
from typing import Any

START_LIMIT_S = 20.0
TRIES = 5


class BrokerError(RuntimeError):
    """The embedded broker did not come up."""


class LocalBroker:
    """Context manager: a broker on 127.0.0.1 at a free port, `port`, in a thread of its own.

    Raises BrokerError with what to do if the broker's package is missing or does not start.
    """

    def __init__(self) -> None:
        self.port = 0
        self._loop: asyncio.AbstractEventLoop | None = None
        self._stop = asyncio.Event()
        self._up = threading.Event()
        self._fault: Exception | None = None
        self._thread = threading.Thread(target=self._run, name="demo-broker", daemon=True)

    def __enter__(self) -> "LocalBroker":
        self._thread.start()
        if not self._up.wait(START_LIMIT_S):
            raise BrokerError(f"the demo's broker did not start within {START_LIMIT_S:.0f} s")
        if isinstance(self._fault, ImportError):
            raise BrokerError("the demo needs its broker: pip install 'coldbrood[demo]'") from self._fault
        if self._fault is not None:
            raise BrokerError(f"the demo's broker did not start: {self._fault}") from self._fault
        return self

    def __exit__(
        self, kind: type[BaseException] | None, fault: BaseException | None, trace: TracebackType | None
    ) -> None:
        if self._loop is not None and not self._loop.is_closed():
            self._loop.call_soon_threadsafe(self._stop.set)
        self._thread.join(5.0)

    def _run(self) -> None:
        for name in ("amqtt", "transitions"):
            logging.getLogger(name).setLevel(logging.CRITICAL + 1)  # it logs at every client that leaves
        try:
            asyncio.run(self._serve())
        except Exception as fault:  # noqa: BLE001 -- handed to the thread that waits for the broker
            self._fault = fault
        self._up.set()

    async def _serve(self) -> None:
        self._loop = asyncio.get_running_loop()
        broker = await self._started()
        self._up.set()
        await self._stop.wait()
        await asyncio.wait_for(broker.shutdown(), 3.0)

    async def _started(self) -> Any:
        from amqtt.errors import BrokerError as PortTaken  # only the demo carries this package

        for left in reversed(range(TRIES)):
            self.port = _free_port()
            try:
                return await _start(self.port)
            except PortTaken:  # another process took the port in between
                if left == 0:
                    raise
        raise AssertionError("the last try returns or raises")


async def _start(port: int) -> Any:
    from amqtt.broker import Broker

    broker = Broker(
        {
            "listeners": {"default": {"type": "tcp", "bind": f"127.0.0.1:{port}"}},
            "plugins": {"amqtt.plugins.authentication.AnonymousAuthPlugin": {"allow_anonymous": True}},
        }
    )
    await broker.start()
    return broker


def _free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port: int = probe.getsockname()[1]
        return port
