"""Which address a paper's QR code holds, so that a tablet elsewhere in the shop can open it."""

import ipaddress
import os

from django.http import HttpRequest

SET_BY_OPENSHOP = "BENCHTAG_ADDRESS"


def lan_url(request: HttpRequest, path: str) -> str:
    """Return the full address of a page as other devices reach it.

    Somebody who prints at the shop's own PC is on `localhost`, which would lead a tablet to itself: then the
    LAN address that `openshop` found at its start is used. Anybody else came by an address that works.
    """
    shown = os.environ.get(SET_BY_OPENSHOP, "").rstrip("/")
    if shown and _is_this_machine(request.get_host()):
        return shown + path
    return request.build_absolute_uri(path)


def _is_this_machine(host: str) -> bool:
    name = host.rsplit(":", 1)[0].strip("[]") if not host.endswith("]") else host.strip("[]")
    if name == "localhost":
        return True
    try:
        return ipaddress.ip_address(name).is_loopback
    except ValueError:
        return False
