"""The worksheets: one module each. What they are made of is in `sheet`; they know no Django and no database."""

import functools
import importlib
import pkgutil

from calc.worksheets.sheet import Worksheet


@functools.cache
def all_sheets() -> tuple[Worksheet, ...]:
    """Every worksheet, in the order of the list."""
    found = []
    for module in pkgutil.iter_modules(__path__):
        if module.name not in ("sheet", "chart"):
            found.append(importlib.import_module(f"{__name__}.{module.name}").SHEET)
    return tuple(sorted(found, key=lambda sheet: (sheet.order, sheet.title)))


def by_slug(slug: str) -> Worksheet | None:
    """The worksheet of this name, if there is one."""
    return next((sheet for sheet in all_sheets() if sheet.slug == slug), None)
