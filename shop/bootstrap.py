"""What `manage.py` does before Django: make .venv, fill it with the pinned requirements, go on inside it.

Standard library only, and nothing here knows Django. The rules:

- What is complete has a stamp: the digest of the requirements it was filled from. No stamp means half-made
  (a pulled plug, a Ctrl-C): it is cleared away and made again.
- Requirements that changed are fetched first and only then installed. Where fetching fails (no network), the
  shop opens on what it has, with a warning.
- Two starts at once: the second waits for the first.

Set BENCHTAG_WHEELS to a folder of wheels where there is no internet at all, BENCHTAG_NO_VENV=1 to run with
the Python at hand and whatever it has.
"""

import hashlib
import importlib.util
import os
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import NoReturn

from shop import debian, locks

ROOT = Path(__file__).resolve().parent.parent
VENV = ROOT / ".venv"
RUNTIME = ROOT / "requirements.txt"
TESTS = ROOT / "tests" / "requirements.txt"
# Set by the process that ran the command again, to the .venv it did its best for: not to be done twice.
_SENT = "BENCHTAG_SENT_INSIDE"

WHY_IT_FAILED = (
    "Benchtag couldn't bring what it is made of. Above is what went wrong. Most often this computer is "
    "offline, or its system is a 32-bit one, for which there are no ready-made packages. Run the same "
    "command again when that is mended. For a computer that never goes online see “No internet in the shop” "
    "in README.md."
)


def prepare() -> None:
    """Return when this process has all that the requirements ask for; until then, see to it.

    May not return: the command is then run again by the Python inside .venv.
    """
    if os.environ.get("BENCHTAG_NO_VENV") == "1":
        return
    inside = Path(sys.prefix).resolve() == VENV.resolve()
    sent = os.environ.pop(_SENT, "") == str(VENV)
    if sent and not inside:
        sys.exit("The Python inside .venv doesn't start as it should. Delete the folder .venv and try again.")
    if inside and (sent or is_fresh(RUNTIME)):
        return
    if not is_fresh(RUNTIME) or not _starts():
        with _alone():
            # The one we waited for may have done it all.
            if not _stamp(RUNTIME).exists() or not _starts():
                _make()
            elif not is_fresh(RUNTIME):
                _update(RUNTIME)
    _go_inside()


def use_demo() -> None:
    """Give the demo a folder and a database of its own. The settings read this, so it comes before them."""
    home = Path(os.environ.get("BENCHTAG_HOME") or ROOT / ".data")
    os.environ["BENCHTAG_HOME"] = str(home / "demo")
    os.environ["BENCHTAG_DEMO"] = "1"
    os.environ.pop("DATABASE_URL", None)


def bring_tests() -> None:
    """Add the tests' requirements to .venv, where they are missing or have changed."""
    if os.environ.get("BENCHTAG_NO_VENV") == "1" or is_fresh(TESTS):
        return
    with _alone():
        if _stamp(TESTS).exists():
            _update(TESTS)
        else:
            print("Bringing what the tests need (once).", flush=True)
            _fill(TESTS)


@contextmanager
def _alone() -> Iterator[None]:
    """Be the only one who changes .venv while the block runs."""
    try:
        with locks.held(
            ROOT / ".venv.lock", wait=True, meanwhile="Waiting for another start of Benchtag to finish."
        ):
            yield
    except PermissionError as error:
        sys.exit(
            f"This user may not write to {error.filename}. Start Benchtag as the user whose folder it is."
        )


def is_fresh(requirements: Path) -> bool:
    """Tell whether .venv was filled, to the end, from these requirements as they are now."""
    try:
        return _stamp(requirements).read_text() == _digest(requirements)
    except OSError:
        return False


def python() -> Path:
    """The Python inside .venv."""
    return VENV / ("Scripts/python.exe" if os.name == "nt" else "bin/python")


def _stamp(requirements: Path) -> Path:
    return VENV / ("filled-tests" if requirements == TESTS else "filled-shop")


def _digest(requirements: Path) -> str:
    return hashlib.sha256(requirements.read_bytes()).hexdigest()


def _starts() -> bool:
    """Tell whether the Python inside .venv still runs: an upgrade of the system may have taken it away."""
    try:
        return subprocess.run([python(), "-I", "-c", "import django"], capture_output=True).returncode == 0
    except OSError:
        return False


def _make() -> None:
    """Make .venv from nothing, whatever lay there before."""
    print("Making Benchtag's own Python environment in .venv (once; a minute or two).", flush=True)
    _need_venv()
    # Made from a .venv's own Python, a second one would point into the first: go back to the system's.
    base = getattr(sys, "_base_executable", None) or sys.executable
    if VENV.exists():
        shutil.rmtree(VENV)
    if subprocess.run([base, "-m", "venv", str(VENV)]).returncode:
        sys.exit(WHY_IT_FAILED)
    _fill(RUNTIME)


def _need_venv() -> None:
    """Debian ships Python without the part that makes environments: bring it, or say the command."""
    if importlib.util.find_spec("ensurepip") and importlib.util.find_spec("venv"):
        return
    packages = [f"python3.{sys.version_info.minor}-venv"]
    if not debian.install(packages, why="so that Python can make environments"):
        way = f"Run this, then the same command again:\n\n    {debian.command_for(packages)}\n"
        sys.exit(
            f"This Python can't make environments. {way if debian.here() else 'Install one from python.org.'}"
        )


def _fill(requirements: Path) -> None:
    """Install the requirements and set the stamp; stop with a sentence if that fails."""
    if _pip("install", "-r", str(requirements)):
        sys.exit(WHY_IT_FAILED)
    _set_stamp(requirements)


def _update(requirements: Path) -> None:
    """Bring .venv up to requirements that changed. Without a network, warn and leave it as it is."""
    print("Bringing Benchtag's Python environment up to date.", flush=True)
    with tempfile.TemporaryDirectory(dir=VENV) as folder:
        # Fetch everything before touching anything; an offline shop shouldn't wait through pip's retries.
        if _pip("download", "-r", str(requirements), "-d", folder, "--retries", "1", "--timeout", "20"):
            print(
                "Benchtag changed, and what it needs now couldn't be fetched: going on with what is "
                "installed. Start it again when this computer is online.",
                file=sys.stderr,
                flush=True,
            )
            return
        # From here on a pulled plug leaves a mixture, which is as good as nothing: no stamp until it is done.
        _stamp(requirements).unlink(missing_ok=True)
        if _pip("install", "-r", str(requirements), "--no-index", "--find-links", folder):
            sys.exit(WHY_IT_FAILED)
    _set_stamp(requirements)


def _pip(act: str, *arguments: str) -> int:
    """Run pip inside .venv: only what the hashes name, and only ready-made wheels. Returns its exit code."""
    command = [str(python()), "-I", "-m", "pip", act, "--quiet", "--require-hashes", *arguments]
    wheels = os.environ.get("BENCHTAG_WHEELS")
    if wheels and "--no-index" not in arguments:
        command += ["--no-index", "--find-links", str(Path(wheels).resolve())]
    wishes = {"PIP_DISABLE_PIP_VERSION_CHECK": "1", "PIP_ONLY_BINARY": ":all:"}
    return subprocess.run(command, env={**wishes, **os.environ}).returncode


def _set_stamp(requirements: Path) -> None:
    """Write the stamp, whole or not at all, and only when all it vouches for is on the disk."""
    if hasattr(os, "sync"):
        os.sync()
    new = _stamp(requirements).with_suffix(".new")
    new.write_text(_digest(requirements))
    new.replace(_stamp(requirements))


def _go_inside() -> NoReturn:
    """Run the same command again with the Python inside .venv. Does not return."""
    command = [str(python()), str(ROOT / "manage.py"), *sys.argv[1:]]
    surroundings = {**os.environ, _SENT: str(VENV)}
    surroundings.pop("__PYVENV_LAUNCHER__", None)  # macOS: would send the new Python back to the old one
    sys.stdout.flush()
    sys.stderr.flush()
    if os.name != "nt":
        os.execve(command[0], command, surroundings)
    # Windows' exec hands the console back to the prompt at once: stay, and leave Ctrl-C to the one inside.
    child = subprocess.Popen(command, env=surroundings)
    while True:
        try:
            sys.exit(child.wait())
        except KeyboardInterrupt:
            continue
