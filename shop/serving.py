"""The web server, and the addresses at which the tablets find it.

Granian, two processes of four threads each. Measured on two cores with pages of six queries, while invoices
were being rendered without a pause by one more client (p99 in ms; the last column without invoices):

    processes x threads    4 tablets + invoices    8 tablets
    1 x 1                  181                     32
    1 x 4                   31                     46
    2 x 1                  157                     31
    2 x 2                   37                     42
    2 x 4                   44                     59
    2 x 8                   38                     66

One thread a process makes a tap wait for a whole invoice; from two on the differences are noise. Four let
long prints and the taps of a busy counter go on together; two processes use two cores.
"""

import errno
import multiprocessing
import os
import socket
import struct
from pathlib import Path

THREADS = 4
STOP_SECONDS = 6  # how long a request may still take once the shop is being closed


def addresses(host: str) -> list[str]:
    """Return where the tablets reach a server bound to `host`, the likeliest first.

    Nothing is sent anywhere to find out. An empty list means that this machine is on no network.
    """
    if host not in {"0.0.0.0", "::", ""}:
        return [host]
    found = [_way_out(), *_interfaces()]
    return list(dict.fromkeys(address for address in found if address and not address.startswith("127.")))


def _way_out() -> str:
    """The address this machine has towards the rest of the world, or an empty string."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            # Connecting a datagram socket only chooses a route. 192.0.2.1 is kept for documents (RFC 5737).
            probe.connect(("192.0.2.1", 9))
            return probe.getsockname()[0]
        except OSError:
            return ""


def _interfaces() -> list[str]:
    """The IPv4 addresses of the network cards; on Windows and macOS what the host's own name stands for."""
    if os.uname().sysname != "Linux" if hasattr(os, "uname") else True:
        try:
            return socket.gethostbyname_ex(socket.gethostname())[2]
        except OSError:
            return []
    import fcntl

    get_address = 0x8915  # SIOCGIFADDR, linux/sockios.h
    found = []
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        for _, name in socket.if_nameindex():
            if name.startswith(("docker", "veth", "br-", "virbr")):
                continue  # networks inside this machine: no tablet is there
            try:
                answer = fcntl.ioctl(probe.fileno(), get_address, struct.pack("256s", name.encode()[:15]))
            except OSError:
                continue  # a card without an IPv4 address
            found.append(socket.inet_ntoa(answer[20:24]))
    return found


def why_not(host: str, port: int) -> str:
    """Return the sentence that says why a server can't listen there, or an empty string if it can."""
    if not 0 < port < 65536:
        return f"A port is a number from 1 to 65535, and {port} isn't: try --port 8000."
    try:
        family, kind, protocol, _, place = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM)[0]
        with socket.socket(family, kind, protocol) as probe:
            if os.name != "nt":  # there it would let two programs share the port
                probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            probe.bind(place)
    except socket.gaierror:
        return f"“{host}” is no address of this machine: leave --host out to serve on all of them."
    except OSError as error:
        if error.errno == errno.EADDRINUSE:
            return (
                f"Another program already uses port {port}, perhaps Benchtag in another window. "
                f"Close that one, or choose another port, e.g. --port {port + 1 if port < 65535 else 8000}."
            )
        if error.errno in {errno.EACCES, errno.EPERM}:
            return f"This user may not open port {port}. Choose one above 1023, e.g. --port 8000."
        if error.errno == errno.EADDRNOTAVAIL:
            return f"“{host}” is no address of this machine: leave --host out to serve on all of them."
        return f"Port {port} can't be opened on {host}: {error.strerror}."
    return ""


def serve(
    host: str, port: int, *, workers: int, certificate: Path | None = None, key: Path | None = None
) -> None:
    """Serve the shop until Ctrl-C or SIGTERM; requests under way get STOP_SECONDS to finish."""
    from granian import Granian
    from granian.constants import Interfaces, SSLProtocols
    from granian.log import LogLevels

    # Fresh processes on every system: a forked one would inherit settings read before TLS was known.
    multiprocessing.set_start_method("spawn", force=True)
    Granian(
        "shop.wsgi:application",
        address=host,
        port=port,
        interface=Interfaces.WSGI,
        workers=workers,
        blocking_threads=THREADS,
        websockets=False,
        log_level=LogLevels.warning,
        respawn_failed_workers=True,
        workers_kill_timeout=STOP_SECONDS,
        ssl_cert=certificate,
        ssl_key=key,
        ssl_protocol_min=SSLProtocols.tls12,  # tablets too old for 1.3 are still on benches
    ).serve()
