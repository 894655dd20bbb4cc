"""What the owner of the gear is told of its tests and of living with it, in words that need no trade.

Pure: values in, sentences out. Nothing here reads as passed but what was passed and signed.
"""

from collections.abc import Iterable, Mapping
from typing import Any, Final

from calc.checklists import Has, Stage
from calc.engine import repair_test

# What the lines of the electrical test mean to somebody who doesn't repair. A line that isn't here isn't told.
CHECKED: Final = {
    repair_test.LOOK: "We looked over its cord, plug, fuse and case.",
    repair_test.EARTH: "Its metal is well connected to the earth of the wall socket.",
    repair_test.INSULATION: "What you can touch is well separated from the mains.",
    repair_test.PROTECTIVE_CURRENT: "No more current escapes to earth than the standard allows.",
    repair_test.TOUCH_CURRENT: "No more current can reach you at its bare metal than the standard allows.",
    repair_test.FUNCTION: "We tried it out, and it works as it should.",
}

# Common practice, no source: what any workshop tells whoever takes such gear home.
_MAINS: Final = (
    "Don’t open it. Inside are voltages that can kill, even some time after it was unplugged.",
    "If it smells, smokes, hums loudly or cuts out: switch it off, unplug it, and call us.",
    "Put in only the fuse that is marked beside its holder.",
)
_BY_BUILD: Final = (
    (Has.EARTHED, "If its plug has an earth pin, use a socket with a working earth. Never cut the pin off."),
    (
        Has.VALVES,
        "Its tubes get hot enough to burn you. Let air reach them, and let them cool before you touch them.",
    ),
    (
        Has.LITHIUM,
        "There is a battery in it. If it swells, leaks or gets hot, stop using it and ask us.",
    ),
    (
        Has.LEAD_ACID,
        "There is a battery with acid in it. Charge it where air moves, and keep sparks away.",
    ),
)
_LOUDSPEAKER: Final = "Connect its loudspeaker before you switch it on. Without one it can be damaged."
_NO_EARTH: Final = (
    "Its cord has no earth. Don’t touch it together with other plugged-in gear or a microphone, and ask us what"
    " can be done about it where you live."
)
_ANY: Final = "If something seems wrong with it, stop using it and call us."


def stage_words(stage: Stage, has: frozenset[Has]) -> str:
    """What a test is called: by where it belongs in the work, and by whether the gear has a mains plug."""
    if stage is Stage.AFTER_REPAIR:
        return "Electrical safety" if Has.MAINS in has else "Check after the repair"
    return "Long run on our bench" if Has.MAINS in has else "Trying it out"


def what_was_checked(lines: Iterable[Mapping[str, Any]]) -> tuple[str, ...]:
    """The lines of a kept electrical test that are good, as the owner of the gear is told of them."""
    return tuple(
        CHECKED[line["label"]] for line in lines if line["verdict"] == "good" and line["label"] in CHECKED
    )


def to_watch_for(has: frozenset[Has], *, kind: str, is_two_wire: bool) -> tuple[str, ...]:
    """What somebody who takes this gear home should watch out for. `kind` is the gear's."""
    if Has.MAINS not in has:
        return (*(said for thing, said in _BY_BUILD if thing in has), _ANY)
    said = [*_MAINS, *(words for thing, words in _BY_BUILD if thing in has)]
    if is_two_wire:
        said.append(_NO_EARTH)
    if Has.VALVES in has and kind in ("head", "combo"):
        said.append(_LOUDSPEAKER)
    return tuple(said)
