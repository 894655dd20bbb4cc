"""What the bench's emergency card says of an electric shock, a fire and a burn: in general terms, for any place.

Our own words for what is general practice (from memory, no organisation's text). It replaces no training, and what the
emergency call or the local authorities say goes before it; the card says so.
"""

from dataclasses import dataclass
from typing import Final


@dataclass(frozen=True)
class Part:
    """A part of the card: what has happened, what to do in this order, what not to do."""

    slug: str
    title: str
    steps: tuple[str, ...]
    never: tuple[str, ...]
    in_order: bool = True


PARTS: Final = (
    Part(
        slug="shock",
        title="Electric shock",
        steps=(
            "Cut the power first: the switch, the breaker, the plug. Until it is off touch nobody who is on it, nor "
            "what they hold.",
            "Call for help. Tell the emergency call what happened, and where.",
            "See whether they answer and breathe as always.",
            "If they don’t: start resuscitation, and fetch the defibrillator, if you are trained or the emergency call "
            "tells you to. Go on until help is there.",
            "If they do: keep them lying and warm, and stay with them.",
            "Then see a doctor, also after a shock that seemed harmless: the heart can go wrong hours later.",
        ),
        never=(),
    ),
    Part(
        slug="fire",
        title="Fire",
        steps=(
            "Warn everybody, and get them out.",
            "Cut the power, if you reach the switch safely.",
            "Call the fire brigade.",
            "A small one, with your back to the way out: an extinguisher that is marked for electrical fires.",
            "It grows, it smokes, it is a battery: leave, shut the door, and wait outside.",
        ),
        never=(
            "No water and no foam on anything that may be live.",
            "Don’t go back in.",
        ),
    ),
    Part(
        slug="burn",
        title="Burn",
        steps=(
            "Stop it: power off, away from what is hot. If it was the power, read “Electric shock” first.",
            "Cool the burn at once under running water, cool and not cold, as long as the emergency call or your "
            "training says: many minutes.",
            "Take off rings, watches and loose clothes near it, but nothing that sticks.",
            "Cover it loosely with something clean.",
            "Get help for a burn that is big or deep, of face, hands or eyes, or from electricity.",
        ),
        never=("No ice, no cream, no butter. Don’t open blisters.",),
    ),
)
ALWAYS: Final = Part(
    slug="always",
    title="Always",
    steps=(
        "Your own safety first: two people hurt help nobody.",
        "Call early, and rather once too often. Stay on the line: they tell you what to do.",
        "Send somebody to the door to show the way.",
        "Afterwards leave the gear as it is, and write down what happened.",
    ),
    never=(),
    in_order=False,
)
TRAINING: Final = (
    "Get trained in first aid, and practise it. Follow the advice of the emergency call and of your local authorities: "
    "it goes before this card."
)
