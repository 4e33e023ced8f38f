"""Promise: through a real receiver and apprise's own schemes each send ends in its one of four outcomes.

No word of the secret address comes out, and no channel holds up another.
"""

import queue
import socket
import subprocess
import sys
from collections.abc import Iterator

import pytest
from receiver import Answer, Manner, Receiver

from coldbrood.deliver.channel import ChannelUrl, send, usable
from coldbrood.deliver.worker import QUEUE_MOST, STUCK_MOST, Worker
from coldbrood.watch.events import SendDone, SendNow

SECRET = "tk0hush0hush"

# apprise loads a module of the standard library that Python 3.13 drops.
pytestmark = pytest.mark.filterwarnings("ignore:'imghdr' is deprecated:DeprecationWarning")


@pytest.fixture
def receiver() -> Iterator[Receiver]:
    with Receiver() as server:
        yield server


def json_url(receiver: Receiver) -> ChannelUrl:
    return ChannelUrl("phone", f"json://keeper:{SECRET}@{receiver.address}/nudge")


def ntfy_url(receiver: Receiver) -> ChannelUrl:
    return ChannelUrl("phone", f"ntfy://{receiver.address}/larch-lane?token={SECRET}")


def order(key: str, channel: str = "phone") -> SendNow:
    return SendNow(key, channel, "Refill now: box A 19.8 C", "Floor 21.", 3, 1)


def closed_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port: int = probe.getsockname()[1]
        return port


def test_a_message_arrives_whole_and_only_once(receiver: Receiver) -> None:
    title, body = "Refill now: box A 19.8 °C", "Floor 21 °C & falling <1 C/h>.\nHold: 40 min."
    result = send(json_url(receiver), title, body, 3, 5.0)
    assert (result.outcome, result.detail) == ("accepted", "accepted")
    (request,) = receiver.received
    got = request.json()
    assert (request.method, request.path) == ("POST", "/nudge")
    assert (got["title"], got["message"]) == (title, body)
    assert request.headers["User-Agent"] == "coldbrood"


@pytest.mark.parametrize(("urgency", "priority"), [(1, "low"), (2, None), (3, "high"), (4, "max")])
def test_ntfy_gets_the_priority_of_the_urgency_and_no_picture(
    receiver: Receiver, urgency: int, priority: str | None
) -> None:
    # min low default high max, default left out: ntfy's published message priorities (from memory).
    assert send(ntfy_url(receiver), "t", "b", urgency, 5.0).outcome == "accepted"
    (request,) = receiver.received
    assert request.headers.get("X-Priority") == priority
    assert "X-Icon" not in request.headers
    assert request.headers["Authorization"] == f"Bearer {SECRET}"
    assert request.json() == {"topic": "larch-lane", "title": "t", "message": "b"}


@pytest.mark.parametrize("scheme", ["json", "ntfy"])
@pytest.mark.parametrize(
    ("status", "outcome"),
    [
        (400, "refused"),
        (401, "refused"),
        (403, "refused"),
        (404, "refused"),
        (413, "refused"),
        (408, "try-again"),
        (425, "try-again"),
        (429, "try-again"),
        (500, "try-again"),
        (502, "try-again"),
        (503, "try-again"),
        (507, "try-again"),
    ],
)
def test_each_status_has_its_outcome(receiver: Receiver, scheme: str, status: int, outcome: str) -> None:
    receiver.answer = Answer(status=status, body=b"<html>no</html>")
    channel = json_url(receiver) if scheme == "json" else ntfy_url(receiver)
    result = send(channel, "t", "b", 3, 5.0)
    assert (result.outcome, result.detail) == (outcome, f"HTTP {status}")
    assert len(receiver.received) == 1


@pytest.mark.parametrize(
    ("status", "code", "outcome"),
    [(429, 42901, "try-again"), (403, 40301, "refused"), (507, 50701, "try-again")],
)
def test_a_code_of_the_services_own_is_read_as_its_status(
    receiver: Receiver, status: int, code: int, outcome: str
) -> None:
    # ntfy answers errors with a five-digit code whose first three digits are the status (from memory).
    body = f'{{"code":{code},"http":{status},"error":"limit reached, error=200"}}'.encode()
    receiver.answer = Answer(status=status, body=body)
    result = send(ntfy_url(receiver), "t", "b", 3, 5.0)
    assert (result.outcome, result.detail) == (outcome, f"HTTP {status}")


@pytest.mark.parametrize("status", [301, 302, 307])
def test_a_login_page_of_the_network_is_not_an_acceptance(receiver: Receiver, status: int) -> None:
    receiver.plan = [Answer(status=status, headers={"Location": f"http://{receiver.address}/login"})]
    result = send(json_url(receiver), "t", "b", 3, 5.0)
    assert (result.outcome, len(receiver.received)) == ("try-again", 1)


def test_no_connection_is_tried_again() -> None:
    channel = ChannelUrl("phone", f"json://127.0.0.1:{closed_port()}/nudge")
    result = send(channel, "t", "b", 3, 5.0)
    assert (result.outcome, result.detail) == ("try-again", "no connection")


def test_an_unknown_name_is_tried_again() -> None:
    # .invalid never resolves: RFC 2606 section 2.
    result = send(ChannelUrl("phone", "json://receiver.invalid/nudge"), "t", "b", 3, 5.0)
    assert (result.outcome, result.detail) == ("try-again", "no connection")


@pytest.mark.parametrize("scheme", ["json", "ntfy"])
@pytest.mark.parametrize(
    ("manner", "detail"),
    [
        ("stall", "no answer in time"),
        ("drop", "the connection broke before an answer came"),
        ("garbage", "the connection broke before an answer came"),
    ],
)
def test_a_request_without_an_answer_is_unknown(
    receiver: Receiver, scheme: str, manner: Manner, detail: str
) -> None:
    receiver.answer = Answer(manner=manner)
    channel = json_url(receiver) if scheme == "json" else ntfy_url(receiver)
    result = send(channel, "t", "b", 4, 0.5)
    assert (result.outcome, result.detail) == ("unknown", detail)
    assert len(receiver.received) == 1, "the request did go out"


@pytest.mark.parametrize("url", ["", "no address", "json://", "nosuchscheme://host/x", f"ntfy//{SECRET}"])
def test_a_bad_address_is_refused_and_not_told(url: str) -> None:
    result = send(ChannelUrl("phone", url), "t", "b", 3, 1.0)
    assert result.outcome == "refused"
    assert SECRET not in result.detail


def test_an_address_without_a_recipient_is_no_loss() -> None:
    result = send(ChannelUrl("phone", f"ntfy://?token={SECRET}"), "t", "b", 3, 1.0)
    assert (result.outcome, result.detail) == ("unknown", "failed without a status")


CHATTY = """
import logging, sys
logging.basicConfig(level=1)
from coldbrood.deliver.channel import ChannelUrl, send, usable
for url in sys.argv[1:]:
    channel = ChannelUrl("phone", url)
    logging.info("%r %r", channel, send(channel, "t", "b", 3, 1.0))
"""


def test_no_secret_in_the_most_talkative_log_of_a_process(receiver: Receiver) -> None:
    answers = [
        Answer(),
        Answer(status=401),
        Answer(status=500),
        Answer(manner="drop"),
        Answer(manner="garbage"),
        Answer(headers={"Bad Header": "x"}),
    ]
    receiver.plan = answers * 2
    urls = [json_url(receiver).url] * len(answers) + [ntfy_url(receiver).url] * len(answers)
    child = subprocess.run(
        [sys.executable, "-c", CHATTY, *urls], capture_output=True, text=True, timeout=60, check=True
    )
    assert len(receiver.received) == len(urls)
    assert child.stderr.count("SendResult(") == len(urls), "the log was on"
    for secret in (SECRET, str(receiver.port), "larch-lane", "nudge"):
        assert secret not in child.stdout + child.stderr


def test_the_library_is_not_loaded_by_the_import_of_the_room() -> None:
    code = "import sys, coldbrood.deliver.worker; print('apprise' in sys.modules)"
    child = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, timeout=60, check=True
    )
    assert child.stdout.strip() == "False"


def test_the_worker_posts_one_outcome_for_each_order(receiver: Receiver) -> None:
    receiver.plan = [Answer(), Answer(status=500), Answer(status=404), Answer(manner="drop")]
    done: queue.Queue[SendDone] = queue.Queue()
    worker = Worker([json_url(receiver)], done.put, timeout_s=2.0)
    for number in range(4):
        worker.submit(order(f"k{number}"))
    outcomes = [done.get(timeout=20) for _ in range(4)]
    assert [(d.key, d.outcome) for d in outcomes] == [
        ("k0", "accepted"),
        ("k1", "try-again"),
        ("k2", "refused"),
        ("k3", "unknown"),
    ]
    assert worker.stop(5.0)
    assert done.empty()
    assert len(receiver.received) == 4


def test_a_channel_that_can_not_be_used_is_said_at_the_start(
    receiver: Receiver, caplog: pytest.LogCaptureFixture
) -> None:
    done: queue.Queue[SendDone] = queue.Queue()
    bad = ChannelUrl("pager", f"nosuchscheme://{SECRET}@host/x")
    worker = Worker([json_url(receiver), bad], done.put)
    assert usable(json_url(receiver))
    assert not usable(bad)
    assert worker.stop(20.0)
    (record,) = [r for r in caplog.records if r.name == "coldbrood.deliver.worker"]
    assert record.getMessage() == "channel pager: its address can not be used"
    assert receiver.received == (), "nothing is sent to find out"


def test_a_slow_channel_holds_up_no_other(receiver: Receiver) -> None:
    with Receiver() as slow:
        slow.answer = Answer(manner="stall")
        done: queue.Queue[SendDone] = queue.Queue()
        channels = [ChannelUrl("slow", f"json://{slow.address}/x"), json_url(receiver)]
        worker = Worker(channels, done.put, timeout_s=60.0, whole_s=60.0)
        worker.submit(order("late", "slow"))
        slow.wait_for(1)
        for number in range(3):
            worker.submit(order(f"k{number}"))
        assert [done.get(timeout=20).key for _ in range(3)] == ["k0", "k1", "k2"]
        assert worker.stop(0.2) is False, "the slow one is still on its way, and stop says so"


def test_a_service_that_drips_for_ever_does_not_keep_its_channel(receiver: Receiver) -> None:
    receiver.plan = [Answer(manner="drip")] * STUCK_MOST
    done: queue.Queue[SendDone] = queue.Queue()
    worker = Worker([json_url(receiver)], done.put, timeout_s=5.0, whole_s=0.8)
    for number in range(STUCK_MOST + 1):
        worker.submit(order(f"k{number}"))
    outcomes = [done.get(timeout=20).outcome for _ in range(STUCK_MOST + 1)]
    assert outcomes == ["unknown"] * STUCK_MOST + ["try-again"]
    assert len(receiver.received) == STUCK_MOST, "no thread is left behind without a limit"
    worker.stop(5.0)


def test_orders_that_can_not_be_taken_come_back(receiver: Receiver) -> None:
    receiver.answer = Answer(manner="stall")
    done: queue.Queue[SendDone] = queue.Queue()
    worker = Worker([json_url(receiver)], done.put, timeout_s=60.0, whole_s=60.0)
    worker.submit(order("elsewhere", "pager"))
    assert done.get(timeout=5) == SendDone("elsewhere", "refused", "no channel named pager")
    worker.submit(order("held"))
    receiver.wait_for(1)
    for number in range(QUEUE_MOST + 1):
        worker.submit(order(f"k{number}"))
    full = done.get(timeout=5)
    assert (full.key, full.outcome) == (f"k{QUEUE_MOST}", "try-again")
    worker.stop(0.1)
    receiver.stop()  # the stalled one ends, so the line can hand back what it holds
    back = {done.get(timeout=20).key for _ in range(QUEUE_MOST + 1)}
    assert back == {"held", *(f"k{n}" for n in range(QUEUE_MOST))}
    assert len(receiver.received) == 1
    worker.submit(order("after"))
    assert done.get(timeout=5) == SendDone("after", "try-again", "not sent: stopping")


def test_a_listener_that_fails_does_not_end_the_channel(
    receiver: Receiver, caplog: pytest.LogCaptureFixture
) -> None:
    done: queue.Queue[SendDone] = queue.Queue()

    def post(outcome: SendDone) -> None:
        if outcome.key == "k0":
            raise RuntimeError("planted")
        done.put(outcome)

    worker = Worker([json_url(receiver)], post)
    worker.submit(order("k0"))
    worker.submit(order("k1"))
    assert done.get(timeout=20).key == "k1"
    assert worker.stop(5.0)
    assert "no one took the outcome" in caplog.text
