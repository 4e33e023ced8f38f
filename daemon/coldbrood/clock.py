"""Where time comes from: monotonic, wall, boot, synced. The only module that reads a clock.

The demo and the tests run the same clock faster: `scale` seconds pass for each real one.
"""

import ctypes
import time
from dataclasses import dataclass
from pathlib import Path

_BOOT_ID = Path("/proc/sys/kernel/random/boot_id")
_TIME_ERROR = 5  # adjtimex(2): the kernel's clock is not synchronized
_TIMEX_BYTES = 256  # struct timex is 208 bytes on 64-bit Linux; the rest is slack

# A wall clock that nothing has set is believed within these bounds of the label kept so far: a person may
# have set it by hand, but a fault may have too, and chicks do not age ten years in a night (our choice).
BELIEVED_BACK_S = 2 * 86_400.0
BELIEVED_AHEAD_S = 14 * 86_400.0
DOUBT_MOST_S = 6 * 3600.0  # watched for so long, what was before the start matters little (our choice)
GAP_MOST_S = 400 * 86_400.0


class Clock:
    """Seconds of one site, scaled. With `scale` 1 and no start it is the machine's own clock.

    A stated clock begins at `start_wall_s` when the machine has been up for `real0_s` (now, if not given), so
    that two processes given the same three numbers live in the same time.
    """

    def __init__(
        self, scale: float = 1.0, start_wall_s: float | None = None, real0_s: float | None = None
    ) -> None:
        if not scale > 0:
            raise ValueError(f"scale: {scale!r}: allowed is any number above 0")
        self.scale = scale
        self._real0_s = up_s() if real0_s is None else real0_s
        self._start_wall_s = start_wall_s if start_wall_s is not None or scale == 1.0 else time.time()
        self._correction_s = 0.0
        self._labelled = False
        self._apart_s = self._machine_apart_s()

    def mono_s(self) -> float:
        """Seconds that never step and count through suspend; continuous within one boot at scale 1."""
        return self._real0_s + (up_s() - self._real0_s) * self.scale

    def wall_s(self) -> float:
        """Unix time: a label for people, may step."""
        if self._start_wall_s is None:
            return time.time() + self._correction_s
        return self._start_wall_s + (self.mono_s() - self._real0_s)

    def synced(self) -> bool:
        """Whether wall time has been set from outside since boot. A clock with a stated start is."""
        return self._start_wall_s is not None or kernel_clock_is_synced()

    def go_on_from(self, wall_s: float | None) -> None:
        """Take up the label where the journal's last row left it: an unset clock may not fall behind it."""
        if self._start_wall_s is not None:
            return
        synced = self.synced()
        self._labelled = synced or wall_s is not None
        if wall_s is not None and not synced and time.time() < wall_s - BELIEVED_BACK_S:
            self._correction_s = wall_s - time.time()

    def take_step_s(self) -> float:
        """How far the label has stepped against monotonic time since last asked, 0 if it did not.

        A clock set from outside is followed. One that nothing has set is followed within the bounds of
        belief; beyond them the label goes on as it was.
        """
        if self._start_wall_s is not None:
            return 0.0
        apart_s, before_s = self._machine_apart_s(), self._correction_s
        moved_s, self._apart_s = apart_s - self._apart_s, apart_s
        if self.synced():
            self._labelled, self._correction_s = True, 0.0
        elif self._labelled:
            off_s = before_s - moved_s  # the correction that would keep the label where it was
            self._correction_s = 0.0 if -BELIEVED_AHEAD_S <= off_s <= BELIEVED_BACK_S else off_s
        return moved_s + self._correction_s - before_s

    def _machine_apart_s(self) -> float:
        return time.time() - up_s()

    def boot_id(self) -> str:
        """Changes when monotonic time starts anew: at each boot, and with each stated clock."""
        if self._start_wall_s is not None:
            return f"stated-{self._real0_s}"
        return _BOOT_ID.read_text().strip()

    def real_s(self, seconds: float) -> float:
        """How long `seconds` of this clock take for real."""
        return seconds / self.scale

    def sleep(self, seconds: float) -> None:
        """Wait for `seconds` of this clock."""
        time.sleep(max(0.0, self.real_s(seconds)))


def up_s() -> float:
    """Seconds since boot, suspend included."""
    return time.clock_gettime(time.CLOCK_BOOTTIME)


def kernel_clock_is_synced() -> bool:
    """Ask the kernel (adjtimex, read only), which every time service keeps informed."""
    timex = (ctypes.c_char * _TIMEX_BYTES)()
    state: int = ctypes.CDLL(None).adjtimex(timex)
    return state not in (-1, _TIME_ERROR)


@dataclass(frozen=True, slots=True)
class Doubt:
    """A start before which no clock could tell the gap: the last row before it, and when it was."""

    last_t_s: float
    last_wall_s: float
    last_seq: int
    started_t_s: float

    def is_old(self, t_s: float) -> bool:
        """Whether so much was watched since that the gap need not be known: a clock may never be set."""
        return t_s - self.started_t_s > DOUBT_MOST_S

    def gap_s(self, t_s: float, wall_s: float) -> float | None:
        """The part of the gap that is not in watch time yet, by a wall that can be believed; None: too old.

        Nought or less is None too: watch time never runs back.
        """
        if self.is_old(t_s):
            return None
        gap_s = self.last_t_s + (wall_s - self.last_wall_s) - t_s
        return gap_s if 1.0 < gap_s <= GAP_MOST_S else None


@dataclass(frozen=True, slots=True)
class Anchor:
    """How watch time hangs on one boot's monotonic time: t_s = mono_s + offset_s."""

    boot_id: str
    offset_s: float
    doubt: Doubt | None = None


@dataclass(frozen=True, slots=True)
class Resumed:
    """Watch time taken up again. `down_s` is None on a first start; `sure` is False if no clock can tell."""

    anchor: Anchor
    down_s: float | None
    sure: bool


def resume(
    clock: Clock,
    anchor: Anchor | None,
    last_t_s: float | None,
    last_wall_s: float | None,
    last_seq: int = 0,
) -> Resumed:
    """Carry watch time on over a restart.

    Within one boot monotonic time tells the gap exactly. Over a boot only wall time can, and a board
    without a battery clock may come up in the past: then the gap counts as nought, is not sure, and the
    anchor keeps the doubt until the clock has been set.
    """
    boot_id, mono_s = clock.boot_id(), clock.mono_s()
    if last_t_s is None or last_wall_s is None:
        return Resumed(Anchor(boot_id, 0.0 - mono_s), None, True)
    if anchor is not None and anchor.boot_id == boot_id and mono_s + anchor.offset_s >= last_t_s:
        return Resumed(anchor, mono_s + anchor.offset_s - last_t_s, True)
    gap_s = clock.wall_s() - last_wall_s
    sure = 0.0 <= gap_s <= GAP_MOST_S and clock.synced()
    down_s = min(max(0.0, gap_s), GAP_MOST_S)
    started_t_s = last_t_s + down_s
    doubt = None if anchor is None else anchor.doubt
    if sure:
        doubt = None
    elif doubt is None:
        doubt = Doubt(last_t_s, last_wall_s, last_seq, started_t_s)
    return Resumed(Anchor(boot_id, started_t_s - mono_s, doubt), down_s, sure)
