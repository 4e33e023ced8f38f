"""Secrets come from a file or from the environment, and are never shown."""

import errno
import os
import stat
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Final

MASK: Final = "***"
SECRET_BYTES_MAX: Final = 4096
"""Longer than any password or URL in use; it only keeps a wrong path from filling the memory."""


class Secret:
    """A text that prints as ***. Only `reveal` gives it, so that each use can be found by its name.

    No dataclass, so that `asdict` and encoders cannot spell it out.
    """

    __slots__ = ("_text",)

    def __init__(self, text: str) -> None:
        self._text = text

    def reveal(self) -> str:
        """The text itself."""
        return self._text

    def __repr__(self) -> str:
        return MASK

    __str__ = __repr__

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Secret) and other._text == self._text

    def __hash__(self) -> int:
        return hash(self._text)

    def __reduce__(self) -> str:
        raise TypeError("a secret is not written anywhere")


class SecretFault(Exception):  # noqa: N818 - it becomes a Problem, it is not an error of the program
    """A secret cannot be had; the text says what is wanted and quotes nothing."""


@dataclass(frozen=True, slots=True)
class Found:
    """A secret, and whether others on the machine may read the file it came from."""

    secret: Secret
    open_to_others: bool = False


def resolve(env: str | None, file: str | None, environ: Mapping[str, str], base: Path) -> Found | None:
    """Fetch the secret that a variable or a file holds; None if neither is named.

    A relative file is looked up in $CREDENTIALS_DIRECTORY (systemd.io/CREDENTIALS), then in `base`.

    Raises:
        SecretFault: both are named, or what is named is missing, unreadable or empty.
    """
    if env is not None and file is not None:
        raise SecretFault("a file or an environment variable, not both")
    if env is not None:
        return Found(
            _one_line(environ.get(env, ""), "an environment variable that is set and holds one line")
        )
    if file is not None:
        return _from_file(place(file, environ, base))
    return None


def place(file: str, environ: Mapping[str, str], base: Path) -> Path:
    """Where a file named in the config is: in $CREDENTIALS_DIRECTORY if it is there, else in `base`.

    Of a whole folder handed over, systemd names each file FOLDER_FILE (systemd.exec(5), LoadCredential=): so
    `secrets/phone-url` is looked for as `secrets_phone-url` too.
    """
    credentials = environ.get("CREDENTIALS_DIRECTORY")
    if credentials:
        for name in (file, file.replace("/", "_")):
            handed = Path(credentials) / name  # an absolute `file` stays as it is
            if os.path.exists(handed):  # Path.exists raises on a name that is too long
                return handed
    return base / file


def _from_file(path: Path) -> Found:
    try:
        raw, mode = read_regular(path, SECRET_BYTES_MAX + 1)
    except FileNotFoundError:
        raise SecretFault("a file that exists, in $CREDENTIALS_DIRECTORY or beside the config file") from None
    except OSError as error:
        raise SecretFault(f"a file this user may read ({error.strerror})") from None
    return Found(_one_line(_text(raw), "a file that holds one line"), bool(mode & stat.S_IROTH))


def read_regular(path: Path, bytes_max: int) -> tuple[bytes, int]:
    """The first bytes of a regular file, and its mode; never waits, so that a named pipe stops no start-up.

    Raises:
        OSError: it cannot be opened or read, or is a folder, pipe or device.
    """
    handle = os.open(path, os.O_RDONLY | os.O_NONBLOCK | os.O_CLOEXEC)
    with open(handle, "rb") as file:
        mode = os.fstat(handle).st_mode
        if not stat.S_ISREG(mode):
            raise OSError(errno.EINVAL, "not a regular file")
        return file.read(bytes_max), mode


def _text(raw: bytes) -> str:
    if len(raw) > SECRET_BYTES_MAX:
        raise SecretFault(f"a file of {SECRET_BYTES_MAX} bytes at most")
    try:
        return raw.decode("utf-8")
    except UnicodeDecodeError:
        raise SecretFault("a file of UTF-8 text") from None


def _one_line(text: str, wanted: str) -> Secret:
    line = text.rstrip("\r\n")
    if not line.strip() or not line.isprintable():
        raise SecretFault(wanted)
    return Secret(line)
