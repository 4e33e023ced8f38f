"""Certificates of an authority of the test's own, by openssl: good, expired, for another host, unknown."""

import ssl
import subprocess
from dataclasses import dataclass
from pathlib import Path

LONG_AGO = "2020-01-01 00:00:00"


@dataclass(frozen=True, slots=True)
class Pair:
    """A certificate and its key."""

    certificate: Path
    key: Path

    def context(self) -> ssl.SSLContext:
        """What a server shows with it."""
        made = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
        made.load_cert_chain(self.certificate, self.key)
        return made


def authority(folder: Path, name: str) -> Pair:
    """A self-signed authority."""
    made = Pair(folder / f"{name}.pem", folder / f"{name}.key")
    subject = ["-subj", f"/CN={name}", "-addext", "basicConstraints=critical,CA:TRUE"]
    _openssl("req", "-x509", *NEW_KEY, str(made.key), "-days", "3", *subject, "-out", str(made.certificate))
    return made


def signed(folder: Path, name: str, by: Pair, host: str = "IP:127.0.0.1", *, expired: bool = False) -> Pair:
    """A server's certificate for one host; an expired one was made years ago for two days."""
    made = Pair(folder / f"{name}.pem", folder / f"{name}.key")
    request, more = folder / f"{name}.csr", folder / f"{name}.ext"
    more.write_text(f"subjectAltName={host}\n", encoding="utf-8")
    _openssl("req", "-new", *NEW_KEY, str(made.key), "-subj", f"/CN={name}", "-out", str(request))
    signer = ["-CA", str(by.certificate), "-CAkey", str(by.key), "-CAcreateserial"]
    out = ["-days", "2", "-extfile", str(more), "-out", str(made.certificate)]
    before = ["faketime", LONG_AGO] if expired else []
    _openssl("x509", "-req", "-in", str(request), *signer, *out, before=before)
    return made


NEW_KEY = ("-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:prime256v1", "-nodes", "-keyout")


def _openssl(*options: str, before: list[str] | None = None) -> None:
    subprocess.run([*(before or []), "openssl", *options], check=True, capture_output=True, timeout=30)
