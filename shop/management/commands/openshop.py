"""Open the shop: bring the database up to date, collect the static files, serve on the network, say where."""

import hashlib
import os
import ssl
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.conf import settings
from django.contrib.staticfiles.finders import get_finders
from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError
from django.db import OperationalError, connection, connections
from django.db.migrations.executor import MigrationExecutor

from shop import backups, locks, pdf_libraries, serving
from shop.addresses import SET_BY_OPENSHOP
from shop.codes import qr_terminal
from shop.errors import Refused
from shop.models import Shop


class Command(BaseCommand):
    help = "Opens the shop to the tablets on this network. Stop it with Ctrl-C."
    requires_system_checks: list[str] = []  # they need the database, which may not be there yet

    def create_parser(self, *args: Any, **kwargs: Any) -> ArgumentParser:
        # `--dem` must not pass for `--demo`: manage.py, which chooses the database, reads whole words only.
        return super().create_parser(*args, allow_abbrev=False, **kwargs)

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument(
            "--host", default="0.0.0.0", help="address to serve on (default: all of this machine's)"
        )
        parser.add_argument("--port", type=int, default=8000, help="port to serve on (default: 8000)")
        parser.add_argument(
            "--demo", action="store_true", help="open an invented shop, with a database of its own"
        )
        parser.add_argument("--certificate", type=Path, help="certificate (PEM) to serve with TLS")
        parser.add_argument("--key", type=Path, help="the certificate's key (PEM)")
        parser.add_argument("--workers", type=int, default=2, help="processes that answer (default: 2)")

    def handle(self, *args: Any, **options: Any) -> None:
        if options["demo"] != (os.environ.get("BENCHTAG_DEMO") == "1"):
            raise CommandError("The demo opens with `python3 manage.py openshop --demo` and in no other way.")
        if options["workers"] < 1:
            raise CommandError("At least one process has to answer: --workers 1.")
        _check_tls(options["certificate"], options["key"])
        if sentence := serving.why_not(options["host"], options["port"]):
            raise CommandError(sentence)
        try:
            with locks.held(backups.open_lock()):
                if backups.recover():
                    self.stdout.write("A restore was cut short. The shop is as it was before; restore again.")
                self.open(**options)
        except locks.Busy as busy:
            raise CommandError(f"This shop is open already ({busy}), or a restore is under way.") from None

    def open(
        self, *, host: str, port: int, certificate: Path | None, key: Path | None, **options: Any
    ) -> None:
        if not pdf_libraries.bring():
            self.stderr.write(self.style.WARNING(pdf_libraries.how_to_get()))
        self.bring_database_up_to_date()
        collect_static_files()
        if options["demo"]:
            from shop import demo

            if Shop.current() is None:
                self.stdout.write("Making the invented shop: three years in about twenty seconds.")
                self.stdout.flush()
            demo.load_if_empty()
        os.environ["BENCHTAG_TLS"] = "1" if certificate else ""
        self.say_where(host, port, "https" if certificate else "http")
        self.say_code()
        connections.close_all()
        self.stdout.flush()
        serving.serve(host, port, workers=options["workers"], certificate=certificate, key=key)
        self.stdout.write("The shop is closed.")

    def bring_database_up_to_date(self) -> None:
        try:
            executor = MigrationExecutor(connection)
        except OperationalError as error:
            raise CommandError(f"The database doesn't answer: {error}") from None
        if not executor.migration_plan(executor.loader.graph.leaf_nodes()):
            return
        if executor.loader.applied_migrations:
            self.stdout.write("Benchtag is newer than its database: a backup first, then the change.")
            try:
                self.stdout.write(f"Backup: {backups.make()}")
            except Refused as refusal:
                raise CommandError(str(refusal)) from None
        call_command("migrate", interactive=False, verbosity=0)

    def say_where(self, host: str, port: int, scheme: str) -> None:
        found = serving.addresses(host)
        links = [f"{scheme}://{f'[{address}]' if ':' in address else address}:{port}/" for address in found]
        if not links:
            self.stdout.write("This machine is on no network: only its own browser reaches the shop.")
            links = [f"{scheme}://127.0.0.1:{port}/"]
        os.environ[SET_BY_OPENSHOP] = links[0]  # what the codes on papers lead to: the workers inherit it
        self.stdout.write("\nThe shop is open. On a tablet, scan this or type the address:\n")
        self.stdout.write(self.drawn(links[0]))
        for link in links:
            self.stdout.write(f"    {link}")
        self.stdout.write("\nStop with Ctrl-C.\n")

    def drawn(self, link: str) -> str:
        """The link as a QR code, or nothing where the terminal's character set can't show one."""
        drawing = qr_terminal(link)
        try:
            drawing.encode(self.stdout.encoding or "utf-8")
        except UnicodeEncodeError:
            return ""
        return drawing

    def say_code(self) -> None:
        if Shop.current():
            return
        from shop.opening import one_time_code

        self.stdout.write(
            "\nNobody has set this shop up yet. The first page asks for this code, so that only who sees "
            f"this screen can:\n\n    {one_time_code()}\n"
        )


def collect_static_files() -> None:
    """Collect and compress the static files, unless they are the ones that were collected last time.

    Compressing takes seconds on a small machine, and most starts find nothing new.
    """
    seen = hashlib.sha256()
    for finder in get_finders():
        for name, storage in sorted(finder.list([]), key=lambda found: found[0]):
            facts = os.stat(storage.path(name))
            seen.update(f"{name} {facts.st_size} {facts.st_mtime_ns}\n".encode())
    stamp = settings.STATIC_ROOT / "collected.txt"
    if stamp.is_file() and stamp.read_text() == seen.hexdigest():
        return
    call_command("collectstatic", interactive=False, verbosity=0)
    stamp.write_text(seen.hexdigest())


def _check_tls(certificate: Path | None, key: Path | None) -> None:
    """Refuse a certificate that the server couldn't use, before anything is started."""
    if not certificate and not key:
        return
    if not certificate or not key:
        raise CommandError("TLS needs both: --certificate FILE and --key FILE.")
    for file in (certificate, key):
        if not file.is_file():
            raise CommandError(f"There is no file {file}.")
    try:
        ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER).load_cert_chain(certificate, key, password=_no_password)
    except (ssl.SSLError, OSError, ValueError) as error:
        raise CommandError(f"{certificate} and {key} don't make a pair that can be used: {error}") from None


def _no_password() -> str:
    raise ValueError("the key asks for a password; Benchtag needs one without")
