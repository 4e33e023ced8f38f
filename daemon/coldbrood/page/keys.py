"""The keys of the page: who may look, who may act. A private file beside the journal, made at first start."""

import hmac
import os
import secrets
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

import msgspec

Role = Literal["keeper", "guest"]
ROLES: tuple[Role, ...] = ("keeper", "guest")
TOKEN_BYTES = 16  # 128 bits: no guessing
SIGNED_BYTES = 16


@dataclass(frozen=True, slots=True)
class Keys:
    """A token for each role and the secret that signs cookies. Nothing of it is shown by `repr`."""

    keeper: str
    guest: str
    signing: str

    def __repr__(self) -> str:
        return "Keys(***)"

    def role_of(self, token: str) -> Role | None:
        """The role that a token gives; every token is compared in full, in the same time."""
        given = token.encode()
        found = [role for role in ROLES if hmac.compare_digest(getattr(self, role).encode(), given)]
        return found[0] if found else None

    def sign(self, text: str) -> str:
        """A short proof that this board wrote `text`."""
        return hmac.digest(self.signing.encode(), text.encode(), "sha256")[:SIGNED_BYTES].hex()

    def signed(self, text: str, proof: str) -> bool:
        """Whether it did."""
        return hmac.compare_digest(self.sign(text).encode(), proof.encode())

    def cookie(self, role: Role, wall_s: float) -> str:
        """What a phone keeps after the link: its role, since when, and the proof."""
        text = f"{role}.{int(wall_s)}"
        return f"{text}.{self.sign(text)}"

    def read_cookie(self, cookie: str) -> Role | None:
        """The role in a cookie of this board's own."""
        text, _, proof = cookie.rpartition(".")
        if not self.signed(text, proof):
            return None
        return next((role for role in ROLES if text.startswith(f"{role}.")), None)


def keys_path(journal_path: Path) -> Path:
    """Where the keys of this journal's page lie."""
    return journal_path.with_name(f"{journal_path.name}.page-keys")


def load_keys(journal_path: Path) -> Keys:
    """The keys, made now if there are none. Raises OSError, and ValueError for a file not of ours."""
    path = keys_path(journal_path)
    try:
        return _read(path)
    except FileNotFoundError:
        pass
    try:
        return new_keys(journal_path, replace=False)
    except FileExistsError:  # another process was quicker
        return _read(path)


def new_keys(journal_path: Path, replace: bool = True) -> Keys:
    """Make keys, whole or not at all; every link and cookie given out before is void. Raises OSError.

    Root's are given to the owner of the journal's folder: the daemon is not root and must read them.
    """
    path = keys_path(journal_path)
    keys = Keys(*(secrets.token_urlsafe(TOKEN_BYTES) for _ in range(3)))
    draft = path.with_name(f"{path.name}.{secrets.token_hex(4)}")
    handle = os.open(draft, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    try:
        if os.geteuid() == 0:
            owner = path.parent.stat()
            os.fchown(handle, owner.st_uid, owner.st_gid)
        with open(handle, "wb") as file:
            file.write(msgspec.json.encode(keys))
            file.flush()
            os.fsync(file.fileno())
        if replace:
            draft.replace(path)
        else:
            os.link(draft, path)
    finally:
        draft.unlink(missing_ok=True)
    return keys


def _read(path: Path) -> Keys:
    try:
        return msgspec.json.decode(path.read_bytes(), type=Keys)
    except msgspec.MsgspecError as error:
        raise ValueError(f"{path}: not the keys of a page: delete it, and new ones are made") from error
