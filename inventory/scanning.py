"""What a scanner read, or somebody typed in its place: a drawer, a part, or neither."""

from urllib.parse import urlsplit

from django.urls import Resolver404, resolve

from inventory.models import Drawer, Part


def read(text: str) -> Drawer | Part | None:
    """The drawer or the part that a label names; None where it names neither.

    A label's code holds an address of ours, on whatever name the shop's computer had when it was printed. By hand
    people type the drawer's code, in whatever case.
    """
    text = text.strip()
    if not text.isprintable():  # PostgreSQL refuses a NUL
        return None
    if "/" in text:
        return _by_address(text)
    return Drawer.objects.filter(code__iexact=text).first()


def _by_address(text: str) -> Drawer | Part | None:
    try:
        path = urlsplit(text).path
        found = resolve(path if path.startswith("/") else f"/{path}")
    except (Resolver404, ValueError):
        return None
    if found.url_name in ("drawer-scan", "drawer"):
        return Drawer.objects.filter(**_named(found.kwargs)).first()
    if found.url_name == "part":
        return Part.objects.select_related("drawer").filter(pk=found.kwargs["pk"]).first()
    return None


def _named(kwargs: dict) -> dict:
    return {"code__iexact": kwargs["code"]} if "code" in kwargs else {"pk": kwargs["pk"]}
