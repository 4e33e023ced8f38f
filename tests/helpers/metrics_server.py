"""A real server of the InfluxDB v2 write protocol, Debian's victoria-metrics, on a free port of loopback."""

import json
import signal
import subprocess
import time
import urllib.request
from pathlib import Path
from urllib.parse import urlencode

from broker import free_port

PATIENCE_S = 30.0


class MetricsServer:
    """One server process. Its data outlive `stop` and `start`; equal points count as one, by its flag."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.port = free_port()
        self._process: subprocess.Popen[bytes] | None = None

    @property
    def url(self) -> str:
        """Where it listens."""
        return f"http://127.0.0.1:{self.port}"

    def start(self) -> None:
        """Returns once it answers."""
        command = [
            "victoria-metrics",
            f"-storageDataPath={self.folder / 'metrics'}",
            f"-httpListenAddr=127.0.0.1:{self.port}",
            "-retentionPeriod=10y",
            "-memory.allowedBytes=64MB",
            "-dedup.minScrapeInterval=1ms",
            "-search.latencyOffset=0s",
        ]
        with (self.folder / "metrics.log").open("ab") as log:
            self._process = subprocess.Popen(command, stdout=log, stderr=log)
        until = time.monotonic() + PATIENCE_S
        while time.monotonic() < until and self._process.poll() is None:
            try:
                self._get("/health")
            except OSError:
                time.sleep(0.05)
            else:
                return
        raise AssertionError(
            f"victoria-metrics did not start: {(self.folder / 'metrics.log').read_text()[-2000:]}"
        )

    def stop(self, how: signal.Signals = signal.SIGTERM) -> None:
        """End it; SIGKILL stands for a power cut."""
        if self._process is not None:
            self._process.send_signal(how)
            self._process.wait(PATIENCE_S)
            self._process = None

    def points(self, field: str = "temperature_c") -> list[tuple[str, int, float]]:
        """Every point of one field as (probe, milliseconds, value), each as often as the server gives it."""
        query = urlencode({"match[]": f"reading_{field}"})
        found = []
        for line in self._get(f"/api/v1/export?{query}").splitlines():
            series = json.loads(line)
            probe = series["metric"]["probe"]
            found += [
                (probe, at, value) for at, value in zip(series["timestamps"], series["values"], strict=True)
            ]
        return sorted(found)

    def tags(self) -> list[dict[str, str]]:
        """The tags of every series."""
        query = urlencode({"match[]": "{__name__!=''}"})
        return [json.loads(line)["metric"] for line in self._get(f"/api/v1/export?{query}").splitlines()]

    def flush(self) -> None:
        """Make what was taken visible to a query."""
        self._get("/internal/force_flush")

    def _get(self, path: str) -> str:
        with urllib.request.urlopen(f"{self.url}{path}", timeout=10) as answer:
            body: bytes = answer.read()
        return body.decode()
