"""The counter and the bench, and what they plug into the ground floor."""

from django.apps import AppConfig


class IntakeConfig(AppConfig):
    name = "intake"

    def ready(self) -> None:
        from intake import plugs  # noqa: F401  plugs in
