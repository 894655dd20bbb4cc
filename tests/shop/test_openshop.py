"""`openshop` as a person starts it: a real server, on an empty folder, asked over the network."""

import os
import re
import shutil
import signal
import socket
import ssl
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from urllib.parse import urljoin

import pytest
import zxingcpp
from django.contrib.staticfiles.finders import get_finder
from PIL import Image, ImageDraw

from shop import backups, serving
from shop.bootstrap import ROOT
from shop.management.commands import openshop

pytestmark = pytest.mark.slow
needs_openssl = pytest.mark.skipif(not shutil.which("openssl"), reason="needs openssl")


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


def surroundings(home: Path) -> dict[str, str]:
    kept = {name: value for name, value in os.environ.items() if not name.startswith("BENCHTAG_")}
    kept.pop("DATABASE_URL", None)
    return kept | {"BENCHTAG_HOME": str(home), "BENCHTAG_NO_VENV": "1", "PYTHONUTF8": "1"}


def manage(home: Path, *arguments: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, str(ROOT / "manage.py"), *arguments],
        env=surroundings(home),
        capture_output=True,
        text=True,
        timeout=60,
    )


@dataclass
class Running:
    """A shop that is open."""

    home: Path
    port: int
    process: subprocess.Popen[str]
    said: Path
    scheme: str

    def text(self) -> str:
        return self.said.read_text(encoding="utf-8")

    def get(self, path: str = "/", certificate: Path | None = None, newest: ssl.TLSVersion | None = None):
        context = None
        if certificate:
            context = ssl.create_default_context(cafile=certificate)
            if newest:
                context.maximum_version = newest
        return urllib.request.urlopen(
            f"{self.scheme}://127.0.0.1:{self.port}{path}", timeout=20, context=context
        )

    def wait_until_it_answers(self) -> None:
        deadline = time.monotonic() + 60
        while time.monotonic() < deadline:
            assert self.process.poll() is None, self.text()
            with socket.socket() as probe:
                if probe.connect_ex(("127.0.0.1", self.port)) == 0:
                    return
            time.sleep(0.1)
        raise AssertionError(f"no answer in a minute: {self.text()}")

    def stop(self, number: int) -> float:
        """Send a signal to all of it, as a terminal does; return how many seconds the end took."""
        began = time.monotonic()
        os.killpg(self.process.pid, number)
        self.process.wait(timeout=30)
        return time.monotonic() - began


def start(home: Path, *arguments: str, scheme: str = "http") -> Running:
    port = free_port()
    said = home.parent / f"said-{port}"
    with open(said, "w") as out:
        process = subprocess.Popen(
            [sys.executable, str(ROOT / "manage.py"), "openshop", "--port", str(port), *arguments],
            env=surroundings(home),
            stdout=out,
            stderr=subprocess.STDOUT,
            text=True,
            start_new_session=True,
            cwd=home.parent,
        )
    running = Running(home, port, process, said, scheme)
    try:
        running.wait_until_it_answers()
    except BaseException:
        process.kill()
        raise
    return running


@pytest.fixture(scope="module")
def running(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Running]:
    running = start(tmp_path_factory.mktemp("open") / "home")
    yield running
    running.stop(signal.SIGTERM)


@pytest.fixture
def ready_home(running: Running, tmp_path: Path) -> Path:
    """A folder whose first start is done: its database made, its static files compressed."""
    shutil.copytree(running.home, tmp_path / "home")
    return tmp_path / "home"


@pytest.fixture(scope="module")
def certificate(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("tls")
    command = "openssl req -x509 -newkey ec -pkeyopt ec_paramgen_curve:P-256 -nodes -days 2 -subj /CN=shop"
    command += " -addext subjectAltName=IP:127.0.0.1 -keyout key.pem -out shop.pem"
    subprocess.run(command.split(), cwd=folder, check=True, capture_output=True)
    return folder / "shop.pem"


# -- an open shop


def test_it_says_where_the_tablets_find_it(running: Running) -> None:
    links = re.findall(r"^ {4}(http://[\d.]+:\d+/)$", running.text(), re.MULTILINE)
    assert links
    assert all(link.endswith(f":{running.port}/") for link in links)


def test_the_qr_code_in_the_terminal_is_read_as_the_first_address(running: Running) -> None:
    """Reference: the code is read back by zxing-cpp, which shares nothing with what drew it."""
    drawn = [line for line in running.text().splitlines() if line and set(line) <= set(" █▀▄")]
    size = 8
    picture = Image.new("L", (len(drawn[0]) * size, len(drawn) * 2 * size), 0)
    pen = ImageDraw.Draw(picture)
    for row, line in enumerate(drawn):
        for column, sign in enumerate(line):
            for half, lit in enumerate((sign in "█▀", sign in "█▄")):
                if lit:
                    top, left = (row * 2 + half) * size, column * size
                    pen.rectangle([left, top, left + size - 1, top + size - 1], fill=255)
    [code] = zxingcpp.read_barcodes(picture)
    assert code.text == re.search(r"^ {4}(http://\S+)$", running.text(), re.MULTILINE)[1]


def test_every_address_leads_to_the_first_start(running: Running) -> None:
    for link in re.findall(r"^ {4}(http://\S+)$", running.text(), re.MULTILINE):
        with urllib.request.urlopen(link, timeout=20) as answer:
            assert answer.status == 200
            assert answer.url == f"{link}first-start/"


def test_a_shop_that_nobody_has_set_up_shows_its_one_time_code(running: Running) -> None:
    assert re.search(r"^ {4}[2-9A-Z]{4}-[2-9A-Z]{4}$", running.text(), re.MULTILINE)


def test_static_files_are_served_for_a_long_time_under_a_name_of_their_content(running: Running) -> None:
    with running.get() as page:
        link = re.search(r'href="(/static/[^"]+\.css)"', page.read().decode())[1]
    with running.get(link) as style:
        assert "immutable" in style.headers["Cache-Control"]


def test_every_script_of_a_page_and_what_it_imports_is_served(running: Running) -> None:
    """Modules import each other by their plain names; these must be among what is collected."""
    with running.get() as page:
        waiting = re.findall(r'src="(/static/[^"]+\.js)"', page.read().decode())
    seen: set[str] = set()
    while waiting:
        link = waiting.pop()
        if link in seen:
            continue
        seen.add(link)
        with running.get(link) as script:
            imported = re.findall(r"""(?:from|import)\s*\(?\s*["'](\.[^"']+)["']""", script.read().decode())
        waiting += [urljoin(link, name) for name in imported]
    assert any("signature" in link for link in seen)


def test_a_second_start_on_the_same_folder_is_refused(running: Running) -> None:
    done = manage(running.home, "openshop", "--port", str(free_port()))
    assert done.returncode == 1
    assert f"This shop is open already (process {running.process.pid})" in done.stderr


def test_a_port_that_is_taken_is_refused_and_no_other_one_chosen(running: Running, tmp_path: Path) -> None:
    done = manage(tmp_path / "other", "openshop", "--port", str(running.port))
    assert done.returncode == 1
    assert f"Another program already uses port {running.port}" in done.stderr


def test_an_open_shop_is_backed_up_but_not_restored(running: Running) -> None:
    assert manage(running.home, "backup").returncode == 0
    [backup] = (running.home / "backups").glob("*.zip")
    done = manage(running.home, "restore", str(backup), "--yes")
    assert done.returncode == 1
    assert "The shop is open" in done.stderr


def test_a_worker_that_dies_is_replaced(running: Running) -> None:
    listed = subprocess.run(
        ["ps", "-ww", "-o", "pid=,args=", "--ppid", str(running.process.pid)], capture_output=True
    )
    workers = [int(line.split()[0]) for line in listed.stdout.decode().splitlines() if "spawn_main" in line]
    assert len(workers) == 2
    for worker in workers:
        os.kill(worker, signal.SIGKILL)
    deadline = time.monotonic() + 30
    answered = 0
    while answered < 5 and time.monotonic() < deadline:
        try:
            with running.get() as answer:
                answered += answer.status == 200
        except (urllib.error.URLError, ConnectionError):
            answered = 0
            time.sleep(0.2)
    assert answered == 5


def test_a_later_start_collects_static_files_only_if_one_changed(tmp_path: Path, settings: Any) -> None:
    settings.STATIC_ROOT = tmp_path / "static"
    settings.STATICFILES_DIRS = [tmp_path / "ours"]
    (tmp_path / "ours").mkdir()
    (tmp_path / "ours" / "a.css").write_text("a {}")
    get_finder.cache_clear()
    try:
        openshop.collect_static_files()
        (settings.STATIC_ROOT / "a.css").unlink()
        openshop.collect_static_files()
        assert not (settings.STATIC_ROOT / "a.css").exists()
        (tmp_path / "ours" / "a.css").write_text("a { color: red }")
        openshop.collect_static_files()
        assert (settings.STATIC_ROOT / "a.css").read_text() == "a { color: red }"
    finally:
        get_finder.cache_clear()


# -- closing it


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM], ids=["Ctrl-C", "SIGTERM"])
def test_it_closes_cleanly_within_ten_seconds(ready_home: Path, number: int) -> None:
    running = start(ready_home, "--host", "127.0.0.1")
    # A tablet that holds its connection open must not hold the door open too.
    with socket.create_connection(("127.0.0.1", running.port)) as tablet:
        tablet.sendall(b"GET /first-start/ HTTP/1.1\r\nHost: shop\r\n\r\n")
        assert tablet.recv(12) == b"HTTP/1.1 200"
        assert running.stop(number) < 10
    assert running.process.returncode == 0
    assert running.text().rstrip().endswith("The shop is closed.")
    assert "Traceback" not in running.text()


# -- TLS


@needs_openssl
def test_with_a_certificate_it_speaks_tls_and_marks_its_cookies(ready_home: Path, certificate: Path) -> None:
    key = certificate.with_name("key.pem")
    running = start(
        ready_home,
        "--certificate",
        str(certificate),
        "--key",
        str(key),
        "--workers",
        "1",
        scheme="https",
    )
    try:
        with running.get("/first-start/", certificate) as answer:
            assert answer.status == 200
            assert all(
                "Secure" in cookie for cookie in answer.headers.get_all("Set-Cookie")
            )  # None would raise
        with running.get("/first-start/", certificate, ssl.TLSVersion.TLSv1_2) as answer:
            assert answer.status == 200, "a tablet too old for TLS 1.3"
        assert re.search(rf"^ {{4}}https://\S+:{running.port}/$", running.text(), re.MULTILINE)
    finally:
        running.stop(signal.SIGTERM)


@needs_openssl
@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["--certificate", "shop.pem"], "TLS needs both"),
        (["--key", "key.pem"], "TLS needs both"),
        (["--certificate", "nowhere.pem", "--key", "key.pem"], "There is no file nowhere.pem"),
        (["--certificate", "shop.pem", "--key", "shop.pem"], "don't make a pair"),
    ],
)
def test_a_certificate_that_cannot_serve_is_refused_before_anything_starts(
    tmp_path: Path, certificate: Path, arguments: list[str], words: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(certificate.parent)
    done = manage(tmp_path / "home", "openshop", "--port", str(free_port()), *arguments)
    assert done.returncode == 1
    assert words in done.stderr
    assert "Traceback" not in done.stderr
    assert not (tmp_path / "home" / "shop.sqlite3").exists()


# -- what it refuses without a server


@pytest.mark.parametrize(
    ("host", "port", "words"),
    [
        ("127.0.0.1", 0, "a number from 1 to 65535"),
        ("127.0.0.1", 65536, "a number from 1 to 65535"),
        ("127.0.0.1", -1, "a number from 1 to 65535"),
        ("no such host", 8000, "no address of this machine"),
        ("192.0.2.77", 8000, "no address of this machine"),  # kept for documents, RFC 5737
    ],
)
def test_a_place_that_cannot_be_served_on_is_refused_in_words(host: str, port: int, words: str) -> None:
    assert words in serving.why_not(host, port)


def test_a_place_that_is_free_is_not_refused() -> None:
    assert serving.why_not("127.0.0.1", free_port()) == ""


def test_a_host_that_was_chosen_is_the_one_address() -> None:
    assert serving.addresses("127.0.0.1") == ["127.0.0.1"]


def test_a_shortened_demo_does_not_open_the_shops_own_database(tmp_path: Path) -> None:
    done = manage(tmp_path / "home", "openshop", "--dem")
    assert done.returncode == 2
    assert "unrecognized arguments: --dem" in done.stderr


def test_a_database_older_than_the_program_is_backed_up_before_it_is_changed(tmp_path: Path) -> None:
    home = tmp_path / "home"
    assert manage(home, "migrate", "contenttypes", "0001").returncode == 0
    running = start(home, "--host", "127.0.0.1")
    running.stop(signal.SIGTERM)
    [backup] = (home / "backups").glob("*.zip")
    assert f"Backup: {backup}" in running.text()
    assert backups.check(backup).migrations == {("contenttypes", "0001_initial")}
