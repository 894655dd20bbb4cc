#!/usr/bin/env python3
"""Run a command of Benchtag: `python3 manage.py openshop` opens the shop. Brings what it needs by itself."""

import os
import sys

if sys.version_info < (3, 11):  # said before anything newer is read
    sys.exit("Benchtag needs Python 3.11 or newer. This is Python %d.%d." % sys.version_info[:2])


def main():
    from shop import bootstrap

    bootstrap.prepare()
    if sys.argv[1:2] == ["openshop"] and "--demo" in sys.argv:
        bootstrap.use_demo()
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "shop.settings")

    from django.core.management import execute_from_command_line

    execute_from_command_line(sys.argv)


if __name__ == "__main__":
    main()
