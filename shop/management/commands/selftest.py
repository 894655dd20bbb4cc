"""Bring what the tests need, and run all of them."""

import os
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

from django.core.management.base import BaseCommand

from shop import bootstrap, debian, pdf_libraries

TOOLS = bootstrap.VENV / "node"
AXE = TOOLS / "node_modules" / "axe-core" / "axe.min.js"
VNU = TOOLS / "node_modules" / "vnu-jar" / "build" / "dist" / "vnu.jar"
BROWSERS = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable")


class Command(BaseCommand):
    help = "Runs Benchtag's tests. What follows the command goes to pytest: selftest -k claim tests/intake"
    requires_system_checks: list[str] = []

    def run_from_argv(self, argv: list[str]) -> None:
        """Hand every argument to pytest as it stands; Django's parser would refuse what it doesn't know."""
        if argv[2:] in (["--help"], ["-h"]):
            self.print_help(argv[0], argv[1])
            return
        bootstrap.bring_tests()
        surroundings = {**os.environ, **tools()}
        with tempfile.TemporaryDirectory(prefix="benchtag-selftest-") as home:
            surroundings["BENCHTAG_HOME"] = home  # the tests must not find the shop's own folder
            surroundings.pop("BENCHTAG_DEMO", None)
            command = [sys.executable, "-m", "pytest", "-c", str(bootstrap.ROOT / ".pytest.ini"), *argv[2:]]
            done = subprocess.run(command, cwd=bootstrap.ROOT, env=surroundings)
        sys.exit(done.returncode)


def tools() -> dict[str, str]:
    """Return where the tests find what isn't Python, by environment variable; bring it where that may be.

    What can't be had is left out, with one line that says how to get it: its tests are skipped then.
    """
    found = {
        "BENCHTAG_CHROMIUM": os.environ.get("BENCHTAG_CHROMIUM") or _chromium(),
        "BENCHTAG_AXE": os.environ.get("BENCHTAG_AXE") or _from_npm(AXE),
        "BENCHTAG_VNU": os.environ.get("BENCHTAG_VNU")
        or (_program("java", "default-jre-headless") and _from_npm(VNU)),
    }
    _program("pdftoppm", "poppler-utils")  # papers are looked at as pictures
    _program("openssl", "openssl")  # a certificate, to open the shop with TLS
    _program("ngspice", "ngspice")  # a circuit simulator: our supplies and gain stages are compared with its
    if not pdf_libraries.bring():
        print(pdf_libraries.how_to_get(), file=sys.stderr)
    return {name: path for name, path in found.items() if path}


def _program(name: str, package: str) -> str:
    """The path of a program, from Debian if it must be; empty if it can't be had."""
    if not shutil.which(name) and not debian.install([package], why="for the tests"):
        print(f"Some tests need {name}. On Debian: {debian.command_for([package])}", file=sys.stderr)
    return shutil.which(name) or ""


def _chromium() -> str:
    return next(filter(None, map(shutil.which, BROWSERS)), "") or _program("chromium", "chromium")


def _from_npm(wanted: Path) -> str:
    """The path of a file out of tests/package-lock.json, installed beside the Python environment."""
    lock = bootstrap.ROOT / "tests" / "package-lock.json"
    stamp = TOOLS / "filled-from"
    if not (stamp.is_file() and wanted.is_file() and stamp.read_bytes() == lock.read_bytes()):
        npm = _program("npm", "npm")
        if not npm:
            return ""
        TOOLS.mkdir(parents=True, exist_ok=True)
        for name in ("package.json", "package-lock.json"):
            shutil.copy(lock.with_name(name), TOOLS / name)
        done = subprocess.run(
            [npm, "ci", "--prefix", str(TOOLS), "--ignore-scripts", "--no-audit", "--no-fund", "--silent"]
        )
        if done.returncode:
            print("npm couldn't bring the page checkers: their tests are skipped.", file=sys.stderr)
            return ""
        shutil.copy(lock, stamp)
    return str(wanted)
