"""The senders: a thread for each channel, so that a slow one holds up no other."""

import logging
import queue
import threading
import time
from collections.abc import Callable, Iterable
from typing import Final

from coldbrood.deliver.channel import ChannelUrl, send, usable
from coldbrood.deliver.outcome import SendResult
from coldbrood.watch.events import SendDone, SendNow

TIMEOUT_S: Final = 10.0
WHOLE_S: Final = 30.0
QUEUE_MOST: Final = 16  # 16 sends of 30 s are still less than the outbox waits for an outcome
STUCK_MOST: Final = 3

Post = Callable[[SendDone], None]

log = logging.getLogger(__name__)


class Worker:
    """Takes SendNow, sends, and posts one SendDone for each, from a thread of its own.

    `post` must be safe to call from any thread. Nothing is kept here: what has no outcome
    when the process ends is in the outbox as being sent.
    """

    def __init__(
        self,
        channels: Iterable[ChannelUrl],
        post: Post,
        timeout_s: float = TIMEOUT_S,
        whole_s: float = WHOLE_S,
    ) -> None:
        self._post = post
        self._lines = {channel.name: _Line(channel, post, timeout_s, whole_s) for channel in channels}

    def submit(self, order: SendNow) -> None:
        """Hand over one message; returns at once. Raises nothing: what can not be taken is posted back."""
        line = self._lines.get(order.channel)
        if line is None:
            self._post(SendDone(order.key, "refused", f"no channel named {order.channel}"))
        else:
            line.take(order)

    def stop(self, limit_s: float) -> bool:
        """Send nothing more, wait for what is being sent. False if some was still on its way at the limit."""
        until_s = time.monotonic() + limit_s
        for line in self._lines.values():
            line.close()
        return all(line.join(until_s - time.monotonic()) for line in self._lines.values())


class _Line:
    """One channel: its queue and its thread."""

    def __init__(self, channel: ChannelUrl, post: Post, timeout_s: float, whole_s: float) -> None:
        self._channel = channel
        self._post = post
        self._timeout_s = timeout_s
        self._whole_s = whole_s
        self._orders: queue.Queue[SendNow | None] = queue.Queue()
        self._gate = threading.Lock()  # nothing may join the queue behind the word to stop
        self._closing = False
        self._stuck: list[threading.Thread] = []
        self._thread = threading.Thread(target=self._run, name=f"send-{channel.name}", daemon=True)
        self._thread.start()

    def take(self, order: SendNow) -> None:
        with self._gate:
            refusal = self._refusal()
            if not refusal:
                self._orders.put(order)
        if refusal:
            self._post(SendDone(order.key, "try-again", refusal))

    def close(self) -> None:
        with self._gate:
            self._closing = True
            self._orders.put(None)

    def join(self, limit_s: float) -> bool:
        self._thread.join(max(0.0, limit_s))
        return not self._thread.is_alive()

    def _refusal(self) -> str:
        if self._closing:
            return "not sent: stopping"
        return f"not sent: {QUEUE_MOST} waiting already" if self._orders.qsize() >= QUEUE_MOST else ""

    def _run(self) -> None:
        self._get_ready()
        while (order := self._orders.get()) is not None:
            result = SendResult("try-again", "not sent: stopping") if self._closing else self._attempt(order)
            try:
                self._post(SendDone(order.key, result.outcome, result.detail))
            except Exception:  # a fault of the listener must not end the channel's thread
                log.exception("no one took the outcome of a send")

    def _get_ready(self) -> None:
        """Load the library now, so that the first nudge need not wait for it, and say what is wrong early."""
        try:
            if not usable(self._channel):
                log.warning("channel %s: its address can not be used", self._channel.name)
        except Exception as fault:  # noqa: BLE001 - the sends will say what is wrong; the thread must live for them
            log.warning("channel %s: the library failed: %s", self._channel.name, type(fault).__name__)

    def _attempt(self, order: SendNow) -> SendResult:
        """Send in a thread that can be left behind: a service may drip bytes for hours."""
        self._stuck = [thread for thread in self._stuck if thread.is_alive()]
        if len(self._stuck) >= STUCK_MOST:
            return SendResult("try-again", f"not sent: {STUCK_MOST} earlier sends never ended")
        answer: queue.SimpleQueue[SendResult] = queue.SimpleQueue()
        thread = threading.Thread(target=self._send, args=(order, answer), daemon=True)
        thread.start()
        try:
            return answer.get(timeout=self._whole_s)
        except queue.Empty:
            self._stuck.append(thread)
            return SendResult("unknown", "no answer in time")

    def _send(self, order: SendNow, answer: "queue.SimpleQueue[SendResult]") -> None:
        try:
            result = send(self._channel, order.title, order.body, order.urgency, self._timeout_s)
        except Exception as fault:  # noqa: BLE001 - a fault of the library must not end the channel's thread
            result = SendResult("unknown", f"the library failed: {type(fault).__name__}")
        answer.put(result)
