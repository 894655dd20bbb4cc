"""Put the shop back to what a backup holds; what is there now is kept in a folder of its own."""

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from shop import backups
from shop.errors import Refused


class Command(BaseCommand):
    help = "Puts the shop back to what a backup holds. Checks it first, and keeps what is there now."
    requires_system_checks: list[str] = []
    requires_migrations_checks = False

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("file", type=Path, help="the backup: benchtag-….zip")
        parser.add_argument("--yes", action="store_true", help="don't ask")

    def handle(self, *args: Any, file: Path, yes: bool = False, **options: Any) -> None:
        try:
            contents = backups.check(file)
            made = contents.made
            self.stdout.write(
                f"{file.name} is whole. Made {made.day} {made:%B %Y, %H:%M}. Pictures: {contents.pictures}."
            )
            if not yes and not self.confirmed():
                raise CommandError("Nothing was changed.")
            kept = backups.restore(contents)
        except Refused as refusal:
            raise CommandError(str(refusal)) from None
        self.stdout.write(f"The shop is as it was then. What was there before is kept in {kept}")

    def confirmed(self) -> bool:
        self.stdout.write(
            "The shop goes back to that moment. What it holds now is kept in a folder of its own."
        )
        try:
            return input("Type yes to go on: ").strip().lower() == "yes"
        except EOFError:
            return False
