"""Debian packages: install them where this user may, else name the one command that does.

Standard library only: shop.bootstrap needs it before anything is installed.
"""

import os
import shutil
import subprocess
from collections.abc import Sequence

_QUIET = {"DEBIAN_FRONTEND": "noninteractive", "NEEDRESTART_SUSPEND": "1"}


def here() -> bool:
    """Tell whether this machine gets its software from Debian's kind of packages."""
    return shutil.which("apt-get") is not None


def command_for(packages: Sequence[str]) -> str:
    """The one command that brings `packages`, to be typed by a person."""
    return f"sudo apt-get install --yes {' '.join(packages)}"


def _as_root() -> list[str] | None:
    """What to put before a command so that it runs as root without asking anybody, or None."""
    if os.geteuid() == 0:
        return []
    if shutil.which("sudo") and subprocess.run(["sudo", "-n", "true"], capture_output=True).returncode == 0:
        return ["sudo", "-n"]
    return None


def install(packages: Sequence[str], *, why: str) -> bool:
    """Install `packages` if this is Debian and this user may; say so in one line first.

    Never asks for a password: who has to type one is told the command instead, by the caller.

    Returns:
        True if the packages are there now.
    """
    if not here() or (root := _as_root()) is None:
        return False
    print(f"Installing from Debian, {why}: {' '.join(packages)}", flush=True)
    run = [*root, "env", *(f"{name}={value}" for name, value in _QUIET.items()), "apt-get", "--quiet=2"]
    # A fresh machine has no package lists yet. An update that fails halfway (one bad source) need not matter.
    subprocess.run([*run, "update"], stdout=subprocess.DEVNULL)
    done = subprocess.run(
        [*run, "install", "--yes", "--no-install-recommends", *packages], stdout=subprocess.DEVNULL
    )
    return done.returncode == 0
