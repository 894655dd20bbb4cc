"""A worksheet that has one of everything a worksheet can have, for the tests of what all of them are made of."""

from calc.engine.errors import CircuitError
from calc.engine.quantities import nominal, show, units
from calc.worksheets.chart import Axis, Chart, Curve, Dot, Limit
from calc.worksheets.sheet import (
    Answer,
    Box,
    BoxError,
    Caution,
    Filled,
    Group,
    Kind,
    Line,
    Row,
    Rows,
    Table,
    Verdict,
    Worksheet,
)


def _compute(filled: Filled) -> Answer:
    if filled["supply"] is not None and nominal(filled["supply"]) == 13:
        raise CircuitError("Nobody builds a supply of 13 V. Write another.")
    if filled["name"] == "nobody":
        raise BoxError("name", "Say whose it is.")
    watts = filled["supply"] * sum((tube["current"] for tube in filled["tubes"]), units.Quantity(0, "A"))
    over = nominal(watts, "W") > 25
    return Answer(
        said=f"The tubes take {show(watts)}{', too much' if over else ''}.",
        verdict=Verdict.BAD if over else Verdict.GOOD,
        lines=(
            Line("Power", show(watts), Verdict.BAD if over else Verdict.GOOD, "of 25 W"),
            Line("Supply", show(filled["supply"])),
        ),
        tables=(
            Table(
                "Tubes",
                ("Tube", "Current"),
                tuple(Row((str(n), show(t["current"]))) for n, t in enumerate(filled["tubes"], start=1)),
            ),
        ),
        charts=(
            Chart(
                "Trial curve",
                "A line that rises.",
                Axis("Voltage", "V"),
                Axis("Power", "W"),
                (Curve("Rising", tuple((float(x), x * nominal(watts) / 10) for x in range(11))),),
                (Dot("Here", 5.0, nominal(watts) / 2),),
                (Limit("25 W", y=25.0),),
            ),
        ),
        cautions=(Caution("The trial caution of the answer."),) if over else (),
        notes=("The trial note.",),
    )


SHEET = Worksheet(
    slug="trial-bias",
    title="Trial bias",
    said="One of everything.",
    order=900,
    cautions=(Caution("The trial caution of the page.", do="Do this.", dont="Don’t do that."),),
    groups=(
        Group(
            "Circuit",
            (
                Box(
                    "bias",
                    "Bias",
                    kind=Kind.CHOICE,
                    choices=(("fixed", "Fixed"), ("cathode", "By its cathode")),
                    initial="fixed",
                ),
                Box("grid", "Grid voltage", unit="V", needed=False, only=("bias", ("fixed",))),
                Box("resistor", "Cathode resistor", unit="ohm", only=("bias", ("cathode",)), above_zero=True),
                Box("supply", "Supply", unit="V", measured=True, points=r"reservoir.*", least=0, most=1000),
                Box("many", "How many", kind=Kind.WHOLE, needed=False, least=1, most=8),
                Box("name", "Whose", kind=Kind.WORDS, needed=False),
                Box("choke", "It has a choke", kind=Kind.TICK, needed=False),
                Box("capacitor", "Capacitor", unit="F", bare="µF", needed=False),
            ),
        ),
        Group(
            "Tubes",
            rows=Rows(
                "tubes",
                "Tube",
                (
                    Box(
                        "current",
                        "Current",
                        unit="A",
                        bare="mA",
                        measured=True,
                        points=r"cathode",
                        least=0,
                        most=1,
                    ),
                    Box("label", "Marked", kind=Kind.WORDS, needed=False),
                ),
                most=4,
                initial=2,
            ),
        ),
        Group("Choke", (Box("henries", "Choke", unit="H", needed=False),), only=("bias", ("fixed",))),
    ),
    compute=_compute,
)
