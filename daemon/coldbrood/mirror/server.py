"""The server's side of the mirror: one synchronous write by influxdb-client, and what went wrong.

The library is imported here only when a mirror is set up (12 MB, STACK.md); it is the extra `mirror`.
"""

import logging
from collections.abc import Sequence
from typing import Final

TIMEOUT_S: Final = 10.0


class ServerFault(Exception):  # noqa: N818 - it becomes a line of the log
    """The server did not take the readings; the text says why and holds no secret."""


class Server:
    """One server, organisation and bucket. A fresh connection for each write, so that none is half dead."""

    def __init__(
        self, url: str, org: str, bucket: str, token: str | None, timeout_s: float = TIMEOUT_S
    ) -> None:
        self.url = url
        self._org, self._bucket, self._token, self._timeout_s = org, bucket, token, timeout_s

    def write(self, lines: Sequence[str]) -> None:
        """Hand over lines with times in milliseconds; on return the server has said that it took them.

        Raises ServerFault.
        """
        try:
            from influxdb_client import InfluxDBClient, WritePrecision  # type: ignore[attr-defined] # no __all__
            from influxdb_client.client.write_api import SYNCHRONOUS
            from influxdb_client.rest import ApiException
            from urllib3.exceptions import HTTPError
        except ImportError:
            raise ServerFault("influxdb-client is missing: install coldbrood with its extra mirror") from None
        logging.getLogger("urllib3").setLevel(logging.CRITICAL)
        milliseconds = int(self._timeout_s * 1000)
        try:
            with InfluxDBClient(
                self.url, self._token or "", org=self._org, timeout=milliseconds, retries=False
            ) as client:
                client.write_api(write_options=SYNCHRONOUS).write(
                    self._bucket, self._org, list(lines), write_precision=WritePrecision.MS
                )
        except ApiException as fault:
            raise ServerFault(_status(fault.status)) from None
        except (HTTPError, OSError) as fault:
            raise ServerFault(f"the server is not reached ({type(fault).__name__}): is it running?") from None


def _status(status: int | None) -> str:
    if status in (401, 403):
        return f"the server refuses the token (HTTP {status}): check mirror.token_file or mirror.token_env"
    if status == 404:
        return (
            "the server knows no such bucket or path (HTTP 404): check mirror.url, mirror.org, mirror.bucket"
        )
    return f"the server did not take the readings (HTTP {status})"
