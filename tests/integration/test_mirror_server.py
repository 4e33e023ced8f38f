"""Promise: whatever is killed, each reading of the journal ends up on the server, and none twice.

Both sides are killed for real; victoria-metrics, from Debian, within the seconds in which it loses.
"""

import json
import signal
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from bench import Bench
from broker import Broker, free_port
from metrics_server import MetricsServer
from receiver import Answer, Receiver

from coldbrood.mirror.server import Server, ServerFault

# The real command, its minute shortened to just over the 8 s in which a killed server was seen to lose.
QUICK = """
import sys
from coldbrood.mirror import feed
feed.Feed.__init__.__defaults__ = (0.5, 10.0)
from coldbrood.cli.main import main
sys.exit(main(["run", *sys.argv[1:]]))
"""
MIRROR = """
[mirror]
url = "{url}"
org = "home"
bucket = "coldbrood"
token_file = "mirror-token"
"""
TOKEN = "t0ken-of-the-mirror"


@pytest.fixture
def server(tmp_path: Path) -> Iterator[MetricsServer]:
    made = MetricsServer(tmp_path)
    made.start()
    yield made
    made.stop(signal.SIGKILL)


@pytest.fixture
def bench(tmp_path: Path, broker: Broker) -> Iterator[Bench]:
    folder = tmp_path / "site"
    folder.mkdir()
    with Bench(folder, broker) as made:
        yield made


def mirrored(bench: Bench, url: str) -> Bench:
    bench.config_path.write_text(bench.config_path.read_text() + MIRROR.format(url=url))
    token = bench.folder / "mirror-token"
    token.touch(mode=0o600)
    token.write_text(TOKEN)
    return bench


def kept(bench: Bench) -> list[tuple[str, int, float]]:
    return sorted((r.probe, round(r.wall_s * 1000.0), r.value) for r in bench.readings())


def there(server: MetricsServer) -> list[tuple[str, int, float]]:
    server.flush()
    return server.points()


def wait_until_there(bench: Bench, server: MetricsServer, patience_s: float = 40.0) -> None:
    until = time.monotonic() + patience_s
    while there(server) != kept(bench):
        said = set(kept(bench)) ^ set(there(server))
        assert time.monotonic() < until, f"apart: {sorted(said)}; the daemon said: {bench.log_text()[-1500:]}"
        time.sleep(0.5)


def send(bench: Bench, first: int, count: int) -> None:
    """A bundle of readings, a minute apart, that end now. Two decimals: the server keeps some 15 digits."""
    bundle = [
        {"n": "temperature", "u": "Cel", "v": round(24.03 + (first + n) / 10, 2), "t": -60 * (count - n)}
        for n in range(count)
    ]
    bench.publish("box-a", json.dumps(bundle))


def test_kills_of_both_sides_lose_and_double_nothing(bench: Bench, server: MetricsServer) -> None:
    mirrored(bench, server.url).start(["-c", QUICK])
    send(bench, 0, 20)
    bench.flush()
    wait_until_there(bench, server)
    server.stop(signal.SIGKILL)  # within the seconds in which it has acknowledged and not kept
    bench.send_c("box-a", 25.5, 25.6)
    bench.flush()
    bench.wait_for(lambda: "mirror=larch-lane state=failed" in bench.log_text(), "the mirror to fail")
    server.start()
    bench.wait_for(lambda: "mirror=larch-lane state=works" in bench.log_text(), "the mirror to go on")
    bench.send_c("box-a", 25.7)
    bench.flush()
    bench.stop(signal.SIGKILL)
    bench.send_c("box-a", 25.8, 25.9)
    bench.start(["-c", QUICK])
    bench.flush()
    wait_until_there(bench, server)
    server.stop(signal.SIGKILL)  # and once more, after which nobody tells the daemon: no new reading comes
    server.start()
    wait_until_there(bench, server)
    assert [value for _, _, value in kept(bench)][20:] == [25.5, 25.6, 25.7, 25.8, 25.9]
    assert len(set(there(server))) == 25
    bench.stop()
    assert TOKEN not in bench.log_text()
    assert {tags["box"] for tags in server.tags() if tags["probe"] == "box-a"} == {"a"}


@pytest.mark.parametrize("manner", ["stall", "drip"])
def test_a_server_that_hangs_is_never_in_the_way_of_an_alarm(bench: Bench, manner: str) -> None:
    with Receiver() as bad:
        bad.answer = Answer(manner=manner)  # type: ignore[arg-type] # one of Manner
        mirrored(bench, f"http://{bad.address}").start(["-c", QUICK])
        bench.send_c("box-a", 30.0)
        bench.flush()
        bad.wait_for(1)
        bench.send_c("box-a", 34.5, 34.75, 35.0)
        bench.receivers["phone"].wait_for(1, 10.0)
        assert bench.stop() == 0
        assert bench.titles() == bench.titles()[:1]


def test_what_the_server_said_is_told_in_plain_words_and_without_the_token() -> None:
    with Receiver() as server:
        client = Server(f"http://{server.address}", "home", "coldbrood", TOKEN, timeout_s=2.0)
        client.write(["reading temperature_c=1 1775901600000"])
        (request,) = server.received
        assert request.path == "/api/v2/write?org=home&bucket=coldbrood&precision=ms"
        assert request.headers["Authorization"] == f"Token {TOKEN}"
        assert request.body == b"reading temperature_c=1 1775901600000"
        for status, said in ((401, "refuses the token"), (404, "no such bucket"), (503, "did not take")):
            server.answer = Answer(status=status)
            with pytest.raises(ServerFault, match=said) as caught:
                client.write(["reading temperature_c=1 1775901600000"])
            assert TOKEN not in str(caught.value)
        server.answer = Answer(manner="stall")
        with pytest.raises(ServerFault, match="is not reached"):
            client.write(["reading temperature_c=1 1775901600000"])
    nobody = Server(f"http://127.0.0.1:{free_port()}", "home", "coldbrood", None)
    with pytest.raises(ServerFault, match="is not reached"):
        nobody.write(["reading temperature_c=1 1775901600000"])
    assert threading.active_count() < 20
