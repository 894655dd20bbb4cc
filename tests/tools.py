"""What some tests need and Python's packages can't bring. `selftest` says where each lies.

Where one is missing the test is skipped, with the way to get it. On the build server (CI=true) it fails:
a check that was never made must not look like one that passed.
"""

import os
import shutil
from functools import cache
from pathlib import Path
from typing import NoReturn

import pytest

from shop import pdf_libraries as libraries

CHROMIUM_ARGUMENTS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--no-first-run",
]


def chromium() -> str:
    """The path of a Chromium for `playwright.chromium.launch(executable_path=…, args=CHROMIUM_ARGUMENTS)`."""
    return str(_file("BENCHTAG_CHROMIUM", "a Chromium"))


def axe_source() -> str:
    """The source of axe-core, for `page.evaluate`: our policy refuses a script tag."""
    return _file("BENCHTAG_AXE", "axe-core").read_text(encoding="utf-8")


def vnu_jar() -> Path:
    """The Nu HTML checker, for `java -jar`."""
    return _file("BENCHTAG_VNU", "the Nu HTML checker")


def ngspice() -> str:
    """The path of ngspice, the circuit simulator that the worksheets are compared with."""
    return shutil.which("ngspice") or _missing("needs ngspice: `python3 manage.py selftest` brings it")


def pdf_libraries() -> None:
    """Go on only where PDFs can be made."""
    if not _pdfs_work():
        _missing(libraries.how_to_get())


@cache
def _pdfs_work() -> bool:
    return libraries.work()


def _file(variable: str, what: str) -> Path:
    path = Path(os.environ.get(variable) or "/nowhere")
    if not path.is_file():
        _missing(f"needs {what}: `python3 manage.py selftest` brings it and sets {variable}")
    return path


def _missing(why: str) -> NoReturn:
    if os.environ.get("CI") == "true":
        pytest.fail(f"On the build server nothing is skipped. {why}", pytrace=False)
    pytest.skip(why)
