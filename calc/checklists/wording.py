"""What people read for where a list belongs, for what gear has, and for how a line asks."""

from collections.abc import Iterable
from typing import Final

from calc.checklists.lines import Ask, Has, Line, Stage

STAGES: Final = {
    Stage.BEFORE_OPENING: "Before it is opened",
    Stage.BEFORE_POWER: "Before it gets power",
    Stage.FIRST_POWER: "When it first gets power",
    Stage.LIVE: "Work with power on",
    Stage.EARTH: "Mains cord and earth",
    Stage.HANDLING: "Batteries and materials",
    Stage.AFTER_REPAIR: "After the repair",
    Stage.SOAK: "Soak test",
}
HAS: Final = {
    Has.MAINS: "A mains supply",
    Has.NO_MAINS: "No mains: a battery, a plug pack or nothing",
    Has.VALVES: "Valves",
    Has.SOLID_STATE: "Transistors or chips",
    Has.EARTHED: "Class I: earthed by a third wire",
    Has.CLASS_II: "Class II: marked with a square in a square",
    Has.TWO_WIRE: "Two wires and no mark: old gear",
    Has.LITHIUM: "A lithium battery, also a coin cell",
    Has.LEAD_ACID: "A lead battery",
    Has.CRT: "A picture tube",
    Has.TAPE_MOTOR: "A tape motor",
    Has.LAMP_OPTO: "A lamp with a photo resistor",
    Has.OLD_MATERIALS: "Asbestos or beryllia, or old enough for it",
    Has.MOULD: "Mould",
    Has.LEAD_SOLDER: "Lead solder",
}
# What waits for a list of a stage.
WAITS: Final = {
    Stage.BEFORE_POWER: "Nothing is read under power before this list is passed and signed.",
    Stage.AFTER_REPAIR: "No repaired job is ready before this list is passed and signed, or waived by the owner.",
    Stage.SOAK: "No repaired job is ready before this list is passed and signed, or waived by the owner.",
}
WAITS_FOR_NONE: Final = (
    "Nothing waits for this list. A line of it that isn’t right keeps a job from being ready."
)
FROM_THE_START: Final = "the list is begun"


def gear_words(applies: Iterable[Has]) -> str:
    """What gear a list is for: `Gear with: a lead battery; mould`."""
    words = [HAS[has] for has in Has if has in set(applies)]
    if not words:
        return "All gear"
    return "Gear with: " + "; ".join(f"{each[0].lower()}{each[1:]}" for each in words)


def span_words(seconds: int) -> str:
    """A wait as people say it: 2 h, 3 min, 45 s."""
    for size, unit in ((3600, "h"), (60, "min")):
        if seconds and seconds % size == 0:
            return f"{seconds // size} {unit}"
    return f"{seconds} s"


def asks_words(line: Line) -> str:
    """How a line asks: by doing or looking, by a reading, by a worksheet."""
    if line.ask is Ask.SHEET:
        return "A worksheet of the job whose verdict is good"
    if line.ask is Ask.READING:
        return f"A reading in {line.symbol}" + (", under power" if line.powered else "")
    return "Do it, or look"


def wait_words(line: Line, lines: Iterable[Line]) -> str:
    """What a line waits for: `Not before 2 h after “Read the supply.”`. Empty where it waits for nothing."""
    if not line.wait:
        return ""
    since = next((f"“{each.text}”" for each in lines if each.key == line.since), FROM_THE_START)
    return f"Not before {span_words(line.wait)} after {since}"
