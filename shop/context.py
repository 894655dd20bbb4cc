"""What every template knows."""

from typing import Any

from django.http import HttpRequest

THEMES = ("auto", "counter", "bench")


def theme_of(request: HttpRequest) -> str:
    """The theme this device chose; `auto` follows its own setting."""
    wanted = request.COOKIES.get("theme", "")
    return wanted if wanted in THEMES else "auto"


def place(request: HttpRequest) -> dict[str, Any]:
    """The shop and the look of this device."""
    return {"shop": getattr(request, "shop", None), "theme": theme_of(request)}
