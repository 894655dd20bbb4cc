"""The system libraries that make the PDFs: are they here, can they be brought, how does a person get them.

WeasyPrint's wheel holds none of them. Without them the shop runs all the same and prints from HTML pages.
"""

import subprocess
import sys

from shop import debian

PACKAGES = ["libpango-1.0-0", "libpangoft2-1.0-0", "libharfbuzz-subset0"]


def work() -> bool:
    """Tell whether a PDF can be made, by loading what makes one.

    In a process of its own: what one looked for in vain stays missing to it, even once it is installed.
    """
    return subprocess.run([sys.executable, "-c", "import weasyprint"], capture_output=True).returncode == 0


def bring() -> bool:
    """Install them where they are missing and this user may. Returns True if PDFs can be made now."""
    return work() or (debian.install(PACKAGES, why="to make PDFs") and work())


def how_to_get() -> str:
    """The sentence for a person at a machine without them."""
    if debian.here():
        way = f"run `{debian.command_for(PACKAGES)}`"
    elif sys.platform == "darwin":
        way = "install Pango, e.g. with Homebrew: `brew install pango`"
    elif sys.platform == "win32":
        way = "install Pango, e.g. with MSYS2: `pacman -S mingw-w64-x86_64-pango`"
    else:
        way = "install Pango 1.44 or newer and HarfBuzz with your system's package manager"
    return (
        "The libraries that make PDFs are missing, so tickets, tags and invoices print from the browser. "
        f"To get PDFs, {way}, then open the shop again."
    )
