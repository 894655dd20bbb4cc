"""Check that each part's quantity is the sum of its moves."""

from typing import Any

from django.core.management.base import BaseCommand, CommandError

from inventory import stock
from inventory.models import Part


class Command(BaseCommand):
    help = "Checks that the quantity of each part is the sum of its moves. Changes nothing."

    def handle(self, *args: Any, **options: Any) -> None:
        wrong = stock.check()
        for part in wrong:
            self.stderr.write(f"{part.pk} {part.name}: says {part.quantity}, its moves {part.moved}")
        if wrong:
            raise CommandError(f"{len(wrong)} of {Part.objects.count()} parts don't agree with their moves.")
        self.stdout.write(f"All {Part.objects.count()} parts agree with their moves.")
