"""What the invented shop is made of: people, gear, faults, what is said. All invented but the trade.

Prices and times are of the kind a small shop charges: common practice, no source.
"""

from dataclasses import dataclass
from decimal import Decimal
from typing import Final


@dataclass(frozen=True)
class Kind:
    """A model of gear that the town owns."""

    kind: str
    technology: str
    maker: str
    model: str
    serial: str  # how its serial numbers begin
    years: str
    common: int  # how common it is in the town, beside the others
    comes_with: tuple[str, ...] = ()


@dataclass(frozen=True)
class Part:
    text: str
    price: str
    count: int = 1

    @property
    def cost(self) -> Decimal:
        """What the shop paid: its mark-up is a half to two thirds, more on small things."""
        share = Decimal("0.4") if Decimal(self.price) < 5 else Decimal("0.62")
        return (Decimal(self.price) * share).quantize(Decimal("0.01"))


@dataclass(frozen=True)
class Fault:
    """Something that fails: what the owner says, what the tech finds, what it takes."""

    on: tuple[str, ...]  # models
    circuit: str  # where it sits: intake.models.Circuit
    complaint: str
    fault: str
    cause: str
    cure: str
    plainly: str  # for the invoice
    minutes: int
    parts: tuple[Part, ...] = ()
    note: str = ""
    smelled: bool = False


GEAR: Final = (
    Kind("head", "valve", "Corvane", "Meridian 50", "CM", "1974", 24, ("Power cord", "Footswitch")),
    Kind("combo", "valve", "Corvane", "Harbor 22", "CH", "1968", 24, ("Power cord", "Cover")),
    Kind("head", "hybrid", "Bexley & Rook", "Breakwater 300", "BR3", "1981", 12, ("Power cord",)),
    Kind("combo", "solid state", "Tindall", "Cadet 60", "T60-", "1986", 18, ("Footswitch",)),
    Kind("echo", "solid state", "Oslin", "Drifter", "OD", "1977", 9, ("Lid", "Spare tape loop")),
    Kind("keyboard", "solid state", "Kestrel", "73", "K73-", "1976", 10, ("Lid", "Pedal", "Power cord")),
    Kind("cabinet", "passive", "Hollin", "212", "H", "1979", 8, ("Cover",)),
)

_VALVE = ("Meridian 50", "Harbor 22")
_MAINS = (*_VALVE, "Breakwater 300", "Cadet 60")

FAULTS: Final = (
    Fault(
        _VALVE,
        "supply",
        "Hums loudly, even with everything turned down.",
        "Reservoir capacitor of the main supply",
        "Dried out: 14 V of ripple where 3 V would be usual",
        "Both sections replaced, discharged and re-formed slowly",
        "The large capacitors that smooth the supply had dried out. We replaced them.",
        75,
        (Part("Capacitor, 50 + 50 µF 500 V", "27.50", 2),),
        "Sleeve of one can has shrunk; the original date code says it all.",
    ),
    Fault(
        _VALVE,
        "output",
        "Blows its fuse as soon as it comes off standby.",
        "Output valve V4, short from plate to screen",
        "Worn out; the bias had drifted hot",
        "Matched pair fitted, screen resistors replaced, bias set",
        "One output valve had failed and taken the fuse with it. We fitted a matched pair and set the bias.",
        60,
        (
            Part("EL34, matched pair", "64.00"),
            Part("Resistor, 1 kΩ 5 W", "1.40", 2),
            Part("Fuse, T2A", "0.60"),
        ),
        smelled=True,
    ),
    Fault(
        _VALVE,
        "input",
        "Crackles and spits when it has been on for a while.",
        "Plate resistor of the first stage",
        "Old carbon composition, noisy when warm",
        "Replaced by metal film, 100 kΩ 1 W",
        "A resistor in the first stage had become noisy. We replaced it and its neighbour.",
        50,
        (Part("Resistor, 100 kΩ 1 W metal film", "0.55", 2),),
    ),
    Fault(
        _VALVE,
        "output",
        "Gets quieter over half an hour, then sounds thin.",
        "Coupling capacitor to the output stage leaks",
        "+3.2 V on the grid of V4 when warm",
        "Both coupling capacitors replaced, bias settles",
        "A capacitor leaked and pulled the output valves away from where they should work. We replaced both.",
        55,
        (Part("Capacitor, 22 nF 630 V film", "2.20", 2),),
    ),
    Fault(
        ("Harbor 22",),
        "effects",
        "The reverb went away.",
        "Reverb tank, one lead broken at the input transducer",
        "Moved with the tank unlatched",
        "Lead re-made with slack, tank bag fitted",
        "A hair-thin wire in the reverb had broken. We re-made it and gave it some slack.",
        35,
    ),
    Fault(
        _VALVE,
        "output",
        "One of the valves glows much brighter than the others.",
        "Bias supply: filter capacitor has lost its capacitance",
        "−21 V at the grids where −38 V is called for",
        "Capacitor and the ageing diode replaced, bias set",
        "The supply that keeps the output valves in check had weakened. We repaired it and set the bias.",
        65,
        (
            Part("Capacitor, 47 µF 100 V", "1.30", 2),
            Part("Diode, 1N4007", "0.30"),
            Part("6L6GC, matched pair", "58.00"),
        ),
        smelled=True,
    ),
    Fault(
        ("Breakwater 300",),
        "output",
        "Cuts out when I dig in, comes back after a bump.",
        "Output relay, contacts burnt",
        "Switched under load for years",
        "Relay replaced, solder of the connector re-flowed",
        "The relay that connects the loudspeaker had burnt contacts. We replaced it.",
        55,
        (Part("Relay, 24 V 16 A", "9.80"),),
    ),
    Fault(
        ("Breakwater 300", "Cadet 60"),
        "output",
        "No sound at all, the light comes on.",
        "Output transistors of the positive half, shorted",
        "Loudspeaker lead had shorted",
        "Pair and drivers replaced, idle current set, run into a load for an hour",
        "Two transistors of the power stage had failed. We replaced them with their drivers.",
        95,
        (
            Part("Transistor, MJ15003", "7.90", 2),
            Part("Transistor, MJE340", "0.95"),
            Part("Resistor, 0.33 Ω 5 W", "1.10", 2),
        ),
    ),
    Fault(
        ("Cadet 60", "Breakwater 300"),
        "mechanics",
        "All the knobs scratch and one has gone dead.",
        "Treble potentiometer, track worn through",
        "Age, and something sweet spilt long ago",
        "Replaced; the others washed and lubricated",
        "One control was worn out and the others dirty. We replaced it and cleaned the rest.",
        50,
        (Part("Potentiometer, 100 kΩ linear", "3.80"),),
    ),
    Fault(
        _MAINS,
        "input",
        "Only works if I hold the plug just so.",
        "Input socket, contact spring fatigued and solder cracked",
        "Stepped on with the plug in",
        "Socket replaced, strain taken off the board",
        "The input socket was broken. We fitted a new one.",
        30,
        (Part("Jack socket, switched", "2.60"),),
    ),
    Fault(
        _MAINS,
        "mains",
        "I get a tingle from the strings when I touch the microphone.",
        "Protective conductor interrupted in the cord",
        "Somebody had fitted a two-pole plug",
        "Cord with protective conductor fitted and bonded to the chassis, insulation and bond measured",
        "The mains cord had no earth, which is dangerous. We fitted a proper one and tested it.",
        40,
        (Part("Power cord, 3-core with plug", "8.50"), Part("Cord grip", "1.20")),
        "Told the owner not to use it until this is done.",
    ),
    Fault(
        ("Drifter",),
        "mechanics",
        "The repeats wobble like a seasick gull.",
        "Pinch roller hard and out of round",
        "Age of the rubber",
        "Roller re-rubbered, capstan cleaned, belt replaced",
        "The rubber roller that pulls the tape had gone hard. We had it re-made and fitted a new belt.",
        85,
        (Part("Pinch roller, re-rubbered", "34.00"), Part("Belt, 78 mm", "6.20")),
    ),
    Fault(
        ("Drifter",),
        "mechanics",
        "No echo, only the straight sound.",
        "Playback head 2, winding open",
        "Corroded lead-out",
        "Lead-out repaired under the microscope, heads aligned and demagnetised",
        "One of the tape heads had a broken wire. We repaired and aligned it.",
        110,
        (Part("Tape loop", "7.50"),),
    ),
    Fault(
        ("73",),
        "input",
        "Three notes are dead and the one beside them is loud.",
        "Pickup rail, three coils open",
        "Battery of a drum machine leaked onto it",
        "Coils rewound, rail cleaned and varnished, pickups set",
        "Three pickups had corroded. We rewound them and set the voicing.",
        150,
        (Part("Coil wire and varnish", "11.00"),),
        "Green all along the left end; neutralised before anything else.",
    ),
    Fault(
        ("73",),
        "mechanics",
        "Keys in the middle bounce, some hit twice.",
        "Hammer tips hardened, dampers out of adjustment",
        "Played for decades",
        "Tips replaced in the middle three octaves, escapement and dampers set",
        "The hammer tips were worn. We replaced them in the middle and set the action.",
        180,
        (Part("Hammer tips, set of 36", "48.00"),),
    ),
    Fault(
        ("212",),
        "speaker",
        "Something buzzes on low notes.",
        "Upper loudspeaker, voice coil rubs",
        "Cone surround torn, coil off centre",
        "Reconed and centred, polarity checked",
        "One loudspeaker was damaged. It was reconed and put back.",
        45,
        (Part("Recone kit, 12 in", "52.00"),),
    ),
    Fault(
        ("212",),
        "speaker",
        "One side is silent.",
        "Lead to the lower loudspeaker, terminal broken off",
        "Metal fatigue",
        "Terminal strip replaced, leads re-made with lugs",
        "A terminal inside had broken. We replaced it.",
        30,
        (Part("Terminal strip", "3.10"),),
    ),
)

# fmt: off
FIRST_NAMES: Final = (
    "Dana", "Otis", "Mirela", "Jonas", "Petra", "Caleb", "Ines", "Rufus", "Amara", "Felix", "Noor",
    "Edda", "Silas", "Thea", "Marek", "Lotte", "Ezra", "Maud", "Kofi", "Sanne", "Bram", "Yara", "Hugo",
    "Leona", "Tavi", "Greta", "Anton", "Zadie", "Owen", "Pilar", "Nils", "Carmen", "Ravi", "Elsie",
    "Dimitri", "Hana",
)
LAST_NAMES: Final = (
    "Whitlow", "Farrow", "Brandt", "Okoye", "Sandoval", "Tregear", "Vance", "Halloran", "Quill",
    "Marchetti", "Ngata", "Pell", "Lindgren", "Abara", "Custis", "Devane", "Ostrow", "Pym", "Rademaker",
    "Selwyn", "Tully", "Umber", "Vickery", "Wexler", "Yarrow", "Zeller", "Aldous", "Birdwell",
    "Corrigan", "Dunmore",
)
# fmt: on
GROUPS: Final = (
    ("The Lintel Seven", "band"),
    ("Marzipan Lighthouse", "band"),
    ("Four Gulls and a Clerk", "band"),
    ("Wet Cement Orchestra", "band"),
    ("Brackwater Union", "band"),
    ("Aunt Tessellate", "band"),
    ("The Slow Harbormasters", "band"),
    ("Pilot Biscuit", "band"),
    ("The Tide Room", "venue"),
    ("Chandler's Loft", "venue"),
    ("Port Ansley High School", "school"),
    ("St. Brannoc's Parish Hall", "venue"),
    ("Quayside Backline", "business"),
)
STREETS: Final = (
    "Ropewalk",
    "Netmakers Row",
    "Lighthouse Hill",
    "Cooper’s Yard",
    "Old Ferry Road",
    "Chandler Lane",
)
EXEMPT: Final = "EX-20417"  # the number of who pays no tax
OPTIONS: Final = (
    ("labour", "Clean all controls and sockets", "0.5", "80"),
    ("part", "Power cord, 3-core with plug", "1", "8.50"),
    ("part", "Dust cover, sewn to measure", "1", "38.00"),
)  # kind, text, quantity, price
CONDITIONS: Final = (
    "Scuffs on the left side, one corner protector missing.",
    "Clean. Handle re-riveted by someone.",
    "Grille cloth torn at the lower right.",
    "Smoky smell, ash in the vents.",
    "",
    "",
)
CARRIERS: Final = ("Coastal Parcel", "Tern Freight")
DECLINED: Final = (
    "Too much for what it is to me. I'll take it home.",
    "Not now. The band broke up.",
    "My brother says he can do it for less.",
)
AGREED: Final = ("Go ahead.", "Yes, please do.", "Do it, and thank you for asking.", "Fine. No rush.")
