"""Run a command as root in user, mount and process namespaces of its own, with the same user numbers.

What it mounts and what it tells the kernel of other machines' programs (binfmt_misc; Linux 6.7 or newer has
one for each user namespace) ends with it, and this machine does not see it.
"""

import ctypes
import os
import sys

NEWNS, NEWUSER, NEWPID = 0x20000, 0x10000000, 0x20000000  # V: clone(2), linux/sched.h
PRIVATE = 0x4000 | 0x40000  # V: MS_REC | MS_PRIVATE, linux/mount.h


def main() -> int:
    """The command's exit code."""
    ready, mapped = os.pipe(), os.pipe()
    child = os.fork()
    if child == 0:
        return _inside(ready[1], mapped[0])
    os.read(ready[0], 1)
    for name in ("uid_map", "gid_map"):
        with open(f"/proc/{child}/{name}", "w", encoding="ascii") as file:
            file.write("0 0 65536")
    os.write(mapped[1], b"x")
    return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])


def _inside(ready: int, mapped: int) -> int:
    libc = ctypes.CDLL(None, use_errno=True)
    if libc.unshare(NEWNS | NEWUSER | NEWPID):
        raise OSError(ctypes.get_errno(), "unshare")
    os.write(ready, b"x")
    os.read(mapped, 1)
    first = os.fork()
    if first == 0:
        libc.mount(b"none", b"/", None, PRIVATE, None)
        libc.mount(b"proc", b"/proc", b"proc", 0, None)
        os.execvp(sys.argv[1], sys.argv[1:])
    return os.waitstatus_to_exitcode(os.waitpid(first, 0)[1])


if __name__ == "__main__":
    sys.exit(main())
