"""A file that one process at a time may hold, on Linux, macOS and Windows alike.

The system lets go of it when the process ends, however it ends: a pulled plug leaves nothing to clear away.
Standard library only: shop.bootstrap needs it before anything is installed.
"""

import os
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

if os.name == "nt":
    import msvcrt
else:
    import fcntl

_FAR = 1 << 20  # Windows locks bytes and then hides them: lock one that lies behind what we write


class Busy(Exception):
    """Another process holds the file. `str()` says which, as far as the file tells."""


def _take(number: int) -> bool:
    try:
        if os.name == "nt":
            os.lseek(number, _FAR, os.SEEK_SET)
            msvcrt.locking(number, msvcrt.LK_NBLCK, 1)
        else:
            fcntl.flock(number, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        return False
    return True


@contextmanager
def held(path: Path, *, wait: bool = False, meanwhile: str = "") -> Iterator[None]:
    """Hold the file at `path` while the block runs.

    Args:
        wait: wait for whoever holds it; otherwise refuse at once.
        meanwhile: a sentence to print once, when there is somebody to wait for.

    Raises:
        Busy: another process holds it, and `wait` is off.
    """
    # Append mode: opening must not wipe the number of the process that holds it.
    with open(path, "a+", encoding="ascii") as file:
        while not _take(file.fileno()):
            if not wait:
                file.seek(0)
                raise Busy(f"process {file.read(20).strip() or 'unknown'}")
            if meanwhile:
                print(meanwhile, flush=True)
                meanwhile = ""
            time.sleep(0.2)
        file.seek(0)
        file.truncate()
        file.write(f"{os.getpid()}\n")
        file.flush()
        yield
