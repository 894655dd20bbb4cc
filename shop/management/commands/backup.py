"""Back the shop up into one dated file. The shop may be open meanwhile."""

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from shop import backups
from shop.errors import Refused


class Command(BaseCommand):
    help = "Writes the database and the pictures into one dated file, with its checksum beside it."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument(
            "--to", type=Path, metavar="DIR", help=f"folder to write to (default: {backups.folder()})"
        )

    def handle(self, *args: Any, to: Path | None = None, **options: Any) -> None:
        try:
            path = backups.make(to)
        except Refused as refusal:
            raise CommandError(str(refusal)) from None
        self.stdout.write(f"Backup: {path} ({path.stat().st_size / 1e6:.1f} MB)")
        if to is None:
            self.stdout.write("Keep a copy off this computer too: a disk that dies takes its backups along.")
