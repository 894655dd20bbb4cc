"""The stock, and what it plugs in below."""

from django.apps import AppConfig


class InventoryConfig(AppConfig):
    name = "inventory"

    def ready(self) -> None:
        from inventory import plugs  # noqa: F401  plugs in
