"""What a piece of gear has, from what is known of it. Where nothing is known, the careful answer."""

from collections.abc import Iterable

from calc.checklists.lines import Has
from calc.engine.repair_test import Protection


def what_it_has(
    *, technology: str, kind: str, protection: str, contains: Iterable[str] | None
) -> frozenset[Has]:
    """What gear has that lists apply to.

    `technology` and `kind` are the words that the gear's row keeps ("valve", "solid state", "hybrid", "passive" or
    empty; "combo", "echo", …), `protection` a value of the engine's `Protection` or empty. `contains` are the values of
    `Has` that somebody ticked; None where nobody has looked yet.
    """
    has = {Has(word) for word in contains or ()}
    if _has_no_mains(technology, kind, protection):
        has.add(Has.NO_MAINS)
    else:
        has.add(Has.MAINS)
        if protection in (Protection.CLASS_I, ""):
            has.add(Has.EARTHED)
        if protection in (Protection.TWO_WIRE, ""):
            has.add(Has.TWO_WIRE)
        if protection == Protection.CLASS_II:
            has.add(Has.CLASS_II)
        if technology in ("valve", "hybrid", ""):
            has.add(Has.VALVES)
    if technology in ("solid state", "hybrid"):
        has.add(Has.SOLID_STATE)
    if contains is None:
        has |= {"echo": {Has.TAPE_MOTOR}, "keyboard": {Has.LITHIUM}}.get(kind, set())
    return frozenset(has)


def _has_no_mains(technology: str, kind: str, protection: str) -> bool:
    if protection:
        return protection == Protection.CLASS_III
    return technology == "passive" or (kind == "cabinet" and not technology) or kind == "pedal"
