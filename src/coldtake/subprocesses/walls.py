"""What a worker process gives up for good: sockets, and starting programs.

Reading what somebody sent needs neither, whatever a library in there is brought to do. On Linux the
kernel is told so (seccomp, with a program of classic BPF: kernel documentation, "Seccomp BPF");
elsewhere, and on other processors, there is only the first wall, that no library is asked to.
"""

import ctypes
import errno
import platform
import struct
import sys
from collections.abc import Collection

# By processor: its number in linux/audit.h, and those of the calls in the kernel's tables.
_ARCHITECTURES = {"x86_64": 0xC000003E, "aarch64": 0xC00000B7}
_CALLS = {
    "x86_64": {
        "socket": 41, "socketpair": 53, "execve": 59, "execveat": 322, "io_uring_setup": 425,
        "open": 2, "creat": 85, "openat": 257, "openat2": 437,
    },
    "aarch64": {
        "socket": 198, "socketpair": 199, "execve": 221, "execveat": 281, "io_uring_setup": 425,
        "openat": 56, "openat2": 437,
    },
}  # fmt: skip
NETWORK_AND_PROGRAMS = ("socket", "socketpair", "execve", "execveat", "io_uring_setup")
_X32 = 0x40000000  # a second table of calls on x86_64; whatever is above is another way to the same
_LOAD, _EQUAL, _AT_LEAST, _RETURN = 0x20, 0x15, 0x35, 0x06
_ALLOW, _REFUSE, _KILL = 0x7FFF0000, 0x00050000 | errno.EACCES, 0x80000000
_NO_NEW_PRIVILEGES, _SECCOMP, _FILTER = 38, 22, 2  # of prctl


class _Program(ctypes.Structure):
    _fields_ = (("length", ctypes.c_ushort), ("steps", ctypes.c_char_p))


def give_up(calls: Collection[str] = NETWORK_AND_PROGRAMS, *, kill: bool = False) -> bool:
    """Have the kernel refuse these calls from now on; False where that cannot be done.

    kill : end the process at once instead (SIGSYS), so that a test sees the attempt itself
    """
    machine = platform.machine()
    if sys.platform != "linux" or machine not in _ARCHITECTURES:
        return False
    known = _CALLS[machine]
    program = _program(
        _ARCHITECTURES[machine], [known[c] for c in calls if c in known], _KILL if kill else _REFUSE
    )
    libc = ctypes.CDLL(None)
    libc.prctl.argtypes = (ctypes.c_int, *(ctypes.c_ulong,) * 4)
    steps = _Program(len(program) // 8, program)
    if libc.prctl(_NO_NEW_PRIVILEGES, 1, 0, 0, 0) != 0:
        return False
    return bool(libc.prctl(_SECCOMP, _FILTER, ctypes.addressof(steps), 0, 0) == 0)


def _program(architecture: int, numbers: Collection[int], otherwise: int) -> bytes:
    """Allow all but these calls; a step jumps so many steps further when true, or when false."""
    tests = [(_EQUAL, n) for n in numbers]
    tests.append((_AT_LEAST, _X32))
    steps = [(_LOAD, 0, 0, 4), (_EQUAL, 0, len(tests) + 2, architecture), (_LOAD, 0, 0, 0)]
    steps += [(code, len(tests) - at, 0, value) for at, (code, value) in enumerate(tests)]
    steps += [(_RETURN, 0, 0, _ALLOW), (_RETURN, 0, 0, otherwise)]
    return b"".join(struct.pack("=HBBI", *step) for step in steps)
