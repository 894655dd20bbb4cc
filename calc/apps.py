"""What is measured and computed, and what it plugs in below."""

from django.apps import AppConfig


class CalcConfig(AppConfig):
    name = "calc"

    def ready(self) -> None:
        from calc import plugs  # noqa: F401  plugs in
