"""The preloaded library that fails the daemon's n-th file operation, kills it there, or bends its clocks."""

import errno
import hashlib
import mmap
import struct
import subprocess
import tempfile
from enum import IntEnum, IntFlag
from pathlib import Path

SOURCE = Path(__file__).with_name("fault_shim.c")
LAYOUT = struct.Struct("6q2dq3d")


class Kind(IntFlag):
    """What may be struck, as in fault_shim.c."""

    OPEN = 1
    WRITE = 2
    SYNC = 4
    RENAME = 8
    UNLINK = 16
    CUT = 32
    SEND = 64


class Deed(IntEnum):
    """What happens there."""

    FAIL = 0
    KILL_BEFORE = 1
    KILL_AFTER = 2
    KILL_HALFWAY = 3


FILES = Kind.OPEN | Kind.WRITE | Kind.SYNC | Kind.RENAME | Kind.UNLINK | Kind.CUT


def built() -> Path:
    """The library, compiled once for each state of its source."""
    name = f"coldbrood-shim-{hashlib.sha256(SOURCE.read_bytes()).hexdigest()[:16]}.so"
    made = Path(tempfile.gettempdir()) / name
    if not made.exists():
        draft = Path(tempfile.mkdtemp()) / name
        command = ["gcc", "-O1", "-Wall", "-Wextra", "-Werror", "-shared", "-fPIC"]
        subprocess.run([*command, "-o", str(draft), str(SOURCE)], check=True, timeout=60)
        draft.rename(made)
    return made


class Shim:
    """One page shared with the daemon. `env` goes into its environment; it strikes files under `under`."""

    def __init__(self, folder: Path, under: Path, boot_id: str = "") -> None:
        self._path = folder / "shim-page"
        self._path.write_bytes(bytes(LAYOUT.size))
        with self._path.open("r+b") as handle:
            self._page = mmap.mmap(handle.fileno(), LAYOUT.size)
        self.boot_id = folder / "boot-id"
        if boot_id:
            self.boot_id.write_text(boot_id)
        self.env = {
            "LD_PRELOAD": str(built()),
            "SHIM_PAGE": str(self._path),
            "SHIM_UNDER": str(under),
            "SHIM_BOOT_ID": str(self.boot_id) if boot_id else "",
        }

    @property
    def passed(self) -> int:
        """How many operations of the armed kinds came by."""
        return int(self._fields()[5])

    def arm(
        self,
        kinds: Kind,
        nth: int,
        deed: Deed = Deed.FAIL,
        *,
        for_good: bool = False,
        error: int = errno.EIO,
    ) -> None:
        """Strike the n-th operation of these kinds from now on, `for_good` all after it too; 0 counts."""
        clocks = self._fields()[6:]
        self._put(int(kinds), nth, int(for_good), int(deed), error, 0, *clocks)

    def disarm(self) -> None:
        """Let everything pass."""
        self.arm(Kind(0), 0)

    def set_clocks(
        self,
        *,
        wall_less_s: float = 0.0,
        boot_less_s: float = 0.0,
        synced: bool | None = None,
        speed: tuple[float, float, float] = (0.0, 0.0, 0.0),
    ) -> None:
        """Clocks ahead of the true ones; `speed` is (scale, true wall, true uptime from which it runs so)."""
        kernel = 0 if synced is None else 1 if synced else 2
        self._put(*self._fields()[:6], wall_less_s, boot_less_s, kernel, *speed)

    def _fields(self) -> tuple[float, ...]:
        return LAYOUT.unpack(self._page)

    def _put(self, *fields: float) -> None:
        self._page[:] = LAYOUT.pack(*fields)
