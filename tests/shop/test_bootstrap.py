"""`python3 manage.py` on a machine that has nothing but Python.

A small copy of the program is started as a person would, with a stand-in for Django in a folder of wheels, so
that environments are real and nothing is fetched.
"""

import ast
import base64
import hashlib
import os
import shutil
import signal
import subprocess
import sys
import time
import zipfile
from collections.abc import Callable
from pathlib import Path

import pytest

from shop import bootstrap

ROOT = bootstrap.ROOT
BASE = getattr(sys, "_base_executable", sys.executable)
PROGRAM = ["manage.py", "shop/__init__.py", "shop/bootstrap.py", "shop/locks.py", "shop/debian.py"]
on_posix = pytest.mark.skipif(os.name == "nt", reason="kills process groups, replaces programs by scripts")


def make_wheel(folder: Path, version: str) -> str:
    """Put a wheel of a Django that only says which it is into `folder`; return its line of requirements."""
    files = {
        "django/__init__.py": "",
        "django/core/__init__.py": "",
        "django/core/management.py": (
            "import os, sys\n"
            "def execute_from_command_line(argv):\n"
            f"    print('django {version}', argv[1:], os.getcwd(), sys.prefix,"
            " os.environ.get('BENCHTAG_HOME'), os.environ.get('DATABASE_URL'))\n"
            "    sys.exit(7 if 'seven' in argv else 0)\n"
        ),
        f"django-{version}.dist-info/METADATA": f"Metadata-Version: 2.1\nName: django\nVersion: {version}\n",
        f"django-{version}.dist-info/WHEEL": "Wheel-Version: 1.0\nRoot-Is-Purelib: true\nTag: py3-none-any\n",
    }
    lines = []
    for name, text in files.items():
        digest = base64.urlsafe_b64encode(hashlib.sha256(text.encode()).digest()).rstrip(b"=").decode()
        lines.append(f"{name},sha256={digest},{len(text)}\n")
    files[f"django-{version}.dist-info/RECORD"] = "".join(lines) + f"django-{version}.dist-info/RECORD,,\n"
    wheel = folder / f"django-{version}-py3-none-any.whl"
    with zipfile.ZipFile(wheel, "w") as out:
        for name, text in files.items():
            out.writestr(name, text)
    return f"django=={version} --hash=sha256:{hashlib.sha256(wheel.read_bytes()).hexdigest()}\n"


class Copy:
    """The program in a folder of its own, with a folder of wheels beside it."""

    def __init__(self, place: Path):
        self.place = place
        self.wheels = place / "wheels"
        self.venv = place / ".venv"

    def lay(self) -> "Copy":
        for name in PROGRAM:
            (self.place / name).parent.mkdir(parents=True, exist_ok=True)
            shutil.copy(ROOT / name, self.place / name)
        (self.place / "tests").mkdir()
        self.wheels.mkdir()
        self.require("1.0")
        return self

    def require(self, version: str) -> None:
        (self.place / "requirements.txt").write_text(make_wheel(self.wheels, version))

    def begin(self, *arguments: str, cwd: Path | None = None, **more: str) -> subprocess.Popen[str]:
        surroundings = {
            name: value
            for name, value in os.environ.items()
            if not name.startswith(("BENCHTAG_", "PYTHON", "DJANGO")) and name != "DATABASE_URL"
        }
        surroundings |= {"BENCHTAG_WHEELS": str(self.wheels), **more}
        return subprocess.Popen(
            [BASE, str(self.place / "manage.py"), *arguments],
            cwd=cwd or self.place,
            env=surroundings,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
            start_new_session=True,
        )

    def run(self, *arguments: str, cwd: Path | None = None, **more: str) -> tuple[int, str]:
        process = self.begin(*arguments, cwd=cwd, **more)
        said, _ = process.communicate(timeout=120)
        return process.returncode, said


@pytest.fixture(scope="session")
def first_start(tmp_path_factory: pytest.TempPathFactory) -> tuple[Copy, int, str]:
    """A copy whose first start is done: it, its exit code, and what it said."""
    copy = Copy(tmp_path_factory.mktemp("a folder with spaces") / "bench tag")
    copy.place.mkdir()
    copy.lay()
    return copy, *copy.run("openshop", "--port", "9", cwd=copy.wheels)


@pytest.fixture
def started(first_start: tuple[Copy, int, str], tmp_path: Path) -> Copy:
    """A copy of that copy, to be spoiled."""
    shutil.copytree(first_start[0].place, tmp_path / "moved", symlinks=True)
    return Copy(tmp_path / "moved")


# -- the first start and the later ones


@pytest.mark.slow
def test_the_first_start_makes_an_environment_and_goes_on_inside_it(
    first_start: tuple[Copy, int, str],
) -> None:
    copy, code, said = first_start
    assert code == 0, said
    assert said.count("Making Benchtag's own Python environment") == 1
    assert f"django 1.0 ['openshop', '--port', '9'] {copy.wheels} {copy.venv}" in said


@pytest.mark.slow
def test_a_later_start_makes_nothing_even_from_a_folder_that_was_moved(started: Copy) -> None:
    code, said = started.run("check")
    assert (code, said) == (0, f"django 1.0 ['check'] {started.place} {started.venv} None None\n")


@pytest.mark.slow
def test_the_exit_code_of_the_command_comes_through(started: Copy) -> None:
    assert started.run("seven")[0] == 7


@pytest.mark.slow
@on_posix
def test_a_start_that_was_killed_halfway_is_mended_by_the_next_two_at_once(tmp_path: Path) -> None:
    copy = Copy(tmp_path).lay()
    killed = copy.begin("check")
    deadline = time.monotonic() + 60
    while not (copy.venv / "pyvenv.cfg").exists() and time.monotonic() < deadline:
        time.sleep(0.01)
    os.killpg(killed.pid, signal.SIGKILL)
    killed.communicate()
    assert copy.venv.exists()
    assert not (copy.venv / "filled-shop").exists()

    both = [copy.begin("check"), copy.begin("check")]
    said = [process.communicate(timeout=120)[0] for process in both]
    assert [process.returncode for process in both] == [0, 0], said
    assert all("django 1.0 ['check']" in words for words in said)
    assert sum("Making" in words for words in said) == 1
    assert sum("Waiting for another start" in words for words in said) == 1


# -- requirements that change


@pytest.mark.slow
def test_requirements_that_changed_are_installed(started: Copy) -> None:
    started.require("2.0")
    assert "django 2.0" in started.run("check")[1]
    assert started.run("check")[1].startswith("django 2.0")


@pytest.mark.slow
def test_requirements_that_changed_and_cannot_be_fetched_leave_the_shop_as_it_was(started: Copy) -> None:
    started.require("2.0")
    for wheel in started.wheels.iterdir():
        wheel.unlink()
    code, said = started.run("check")
    assert code == 0
    assert said.count("couldn't be fetched: going on with what is installed") == 1
    assert "django 1.0" in said


@pytest.mark.slow
def test_a_package_that_is_not_the_one_pinned_is_not_installed(started: Copy) -> None:
    started.require("2.0")
    pinned = (started.place / "requirements.txt").read_text()
    with zipfile.ZipFile(started.wheels / "django-2.0-py3-none-any.whl", "a") as wheel:
        wheel.writestr("django/surprise.py", "")
    assert (
        hashlib.sha256((started.wheels / "django-2.0-py3-none-any.whl").read_bytes()).hexdigest()
        not in pinned
    )
    said = started.run("check")[1]
    assert "django 1.0" in said
    assert "HASHES" in said


@pytest.mark.slow
def test_an_environment_whose_python_is_gone_is_made_again(started: Copy) -> None:
    shutil.rmtree(started.venv / "bin" if os.name != "nt" else started.venv / "Scripts")
    code, said = started.run("check")
    assert code == 0, said
    assert "Making" in said


# -- the demo, and the Python at hand


@pytest.mark.slow
def test_the_demo_gets_a_folder_of_its_own_and_never_the_shops_database(
    started: Copy, tmp_path: Path
) -> None:
    said = started.run(
        "openshop", "--demo", BENCHTAG_HOME=str(tmp_path), DATABASE_URL="postgres://shop/real"
    )[1]
    assert said.rstrip().endswith(f"{tmp_path / 'demo'} None")


def test_with_no_venv_the_python_at_hand_runs_it(tmp_path: Path) -> None:
    copy = Copy(tmp_path).lay()
    code, said = copy.run(
        "help", BENCHTAG_NO_VENV="1", PYTHONPATH=str(copy.wheels / "django-1.0-py3-none-any.whl")
    )
    assert (code, said) == (0, f"django 1.0 ['help'] {tmp_path} {sys.base_prefix} None None\n")
    assert not copy.venv.exists()


def test_what_says_that_python_is_too_old_can_be_read_by_an_old_python() -> None:
    ast.parse((ROOT / "manage.py").read_text(), feature_version=(3, 4))


# -- a Debian without python3-venv


Machine = Callable[..., Path]


@pytest.fixture
def bare_debian(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Machine:
    """Make the machine a bare Debian: Python lacks ensurepip, apt-get and sudo only note what they are told."""
    log = tmp_path / "log"

    def lay(*, root: bool, sudo: bool = False, apt: bool = True) -> Path:
        programs = {"env": 'exec /usr/bin/env "$@"\n'}
        if apt:
            programs["apt-get"] = f'echo "apt-get $* $DEBIAN_FRONTEND" >> {log}\n'
        programs["sudo"] = f'shift; echo sudo >> {log}; exec "$@"\n' if sudo else "exit 1\n"
        for name, text in programs.items():
            (tmp_path / name).write_text(f"#!/bin/sh\n{text}")
            (tmp_path / name).chmod(0o755)
        (tmp_path / "true").symlink_to(shutil.which("true"))
        monkeypatch.setenv("PATH", str(tmp_path))
        monkeypatch.setattr(os, "geteuid", lambda: 0 if root else 1000)
        monkeypatch.setattr("importlib.util.find_spec", lambda name: None)
        log.touch()
        return log

    return lay


VENV_PACKAGE = f"python3.{sys.version_info.minor}-venv"
INSTALLED = f"apt-get --quiet=2 install --yes --no-install-recommends {VENV_PACKAGE} noninteractive"


@on_posix
def test_root_on_a_bare_debian_gets_the_missing_package(bare_debian: Machine) -> None:
    log = bare_debian(root=True)
    bootstrap._need_venv()
    assert log.read_text().splitlines() == ["apt-get --quiet=2 update noninteractive", INSTALLED]


@on_posix
def test_who_may_use_sudo_without_a_password_gets_it_too(bare_debian: Machine) -> None:
    log = bare_debian(root=False, sudo=True)
    bootstrap._need_venv()
    assert log.read_text().splitlines()[-2:] == ["sudo", INSTALLED]


@on_posix
def test_who_may_not_is_told_the_one_command(bare_debian: Machine) -> None:
    log = bare_debian(root=False)
    with pytest.raises(SystemExit) as stop:
        bootstrap._need_venv()
    assert f"\n    sudo apt-get install --yes {VENV_PACKAGE}\n" in str(stop.value)
    assert log.read_text() == ""


@on_posix
def test_elsewhere_a_whole_python_is_asked_for(bare_debian: Machine) -> None:
    bare_debian(root=True, apt=False)
    with pytest.raises(SystemExit, match=r"python\.org"):
        bootstrap._need_venv()


# -- the pinned files


@pytest.mark.parametrize("file", [bootstrap.RUNTIME, bootstrap.TESTS], ids=["runtime", "tests"])
def test_every_requirement_is_pinned_with_its_hashes_and_names_no_place_to_fetch_from(file: Path) -> None:
    lines = file.read_text().replace("\\\n", " ").splitlines()
    pins = [line for line in lines if line and not line.lstrip().startswith("#")]
    assert len(pins) > 5
    assert all("==" in line and "--hash=sha256:" in line for line in pins)
    assert "://" not in file.read_text()


def test_the_tests_and_the_program_agree_on_every_package_they_share() -> None:
    runtime, tests = (
        dict(
            line.split(" ")[0].split("==")
            for line in file.read_text().splitlines()
            if "==" in line.split(" ")[0]
        )
        for file in (bootstrap.RUNTIME, bootstrap.TESTS)
    )
    shared = runtime.keys() & tests.keys()
    assert shared
    assert {name: runtime[name] for name in shared} == {name: tests[name] for name in shared}
