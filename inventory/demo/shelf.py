"""What lies in the drawers of the invented shop, who sells it, and what stands on its bench.

Suppliers and makes are invented. Types (12AX7, 1N4007) are the industry's. Prices are of the kind that a small shop
pays: common practice, no source. What the shop's repairs use (`intake.demo.world`) is here under the same name.
"""

from dataclasses import dataclass, field
from typing import Any, Final

CAUSEWAY, SALTMARSH, GANNET = "Causeway Components", "Saltmarsh Valve Supply", "Gannet Row Hardware"

# name, our number there, days until it comes, note
SUPPLIERS: Final = (
    (CAUSEWAY, "LQ-118", 6, "Passive parts and semiconductors. No charge for the parcel from 60 up."),
    (SALTMARSH, "4410", 12, "Tubes and everything that is hot. Packs well."),
    (GANNET, "Lantern Quay", 4, "Around the corner: closes at four."),
)

# code, where it stands
DRAWERS: Final = (
    *((f"A-{n}", "Left of the bench, small parts") for n in range(1, 9)),
    *((f"B-{n}", "Under the window, capacitors") for n in range(1, 7)),
    *((f"C-{n}", "Cabinet by the door, tubes") for n in range(1, 5)),
    *((f"D-{n}", "Shelf over the lathe, large things") for n in range(1, 6)),
)


@dataclass(frozen=True)
class Item:
    """A part: what was on the shelf when the shop opened, when it is reordered, of whom and in what packs."""

    kind: str
    name: str
    drawer: str
    start: int
    keep: int
    supplier: str
    number: str
    pack: int
    price: str  # of a pack
    values: dict[str, Any] = field(default_factory=dict)
    sells_at: str = ""  # empty: by the shop's mark-up


def _film(micro: float, volts: int, leads: str = "axial") -> dict[str, Any]:
    return {
        "value": micro * 1e-6,
        "volts": volts,
        "tolerance": 10,
        "technology": "film",
        "leads": leads,
        "hottest": 85,
    }


def _electrolytic(micro: float, volts: int, leads: str = "axial", hottest: int = 105) -> dict[str, Any]:
    return {
        "value": micro * 1e-6,
        "volts": volts,
        "tolerance": 20,
        "technology": "electrolytic",
        "leads": leads,
        "hottest": hottest,
    }


def _resistor(
    ohms: float, watts: float, technology: str = "metal film", tolerance: float = 1
) -> dict[str, Any]:
    return {
        "value": ohms,
        "watts": watts,
        "technology": technology,
        "tolerance": tolerance,
        "leads": "axial",
    }


def _type(designation: str, **more: Any) -> dict[str, Any]:
    return {"designation": designation, **more}


COUNTED: Final = (
    # capacitors
    Item(
        "capacitor",
        "Capacitor, 50 + 50 µF 500 V",
        "B-1",
        6,
        4,
        CAUSEWAY,
        "CC-5050",
        1,
        "17.05",
        {**_electrolytic(50, 500, "chassis", 85), "note": "Two sections in one can."},
        "27.50",
    ),
    Item(
        "capacitor",
        "22u 450V axial",
        "B-2",
        12,
        6,
        CAUSEWAY,
        "CC-2245A",
        10,
        "19.00",
        _electrolytic(22, 450),
    ),
    Item(
        "capacitor", "47u 450V axial", "B-2", 8, 4, CAUSEWAY, "CC-4745A", 5, "16.50", _electrolytic(47, 450)
    ),
    Item(
        "capacitor",
        "47u 450V snap-in",
        "B-3",
        6,
        3,
        CAUSEWAY,
        "CC-4745S",
        5,
        "12.75",
        _electrolytic(47, 450, "snap-in"),
    ),
    Item(
        "capacitor",
        "100u 350V snap-in",
        "B-3",
        5,
        2,
        CAUSEWAY,
        "CC-1035S",
        5,
        "14.00",
        _electrolytic(100, 350, "snap-in"),
    ),
    Item("capacitor", "10u 500V axial", "B-2", 6, 2, CAUSEWAY, "CC-1050A", 5, "9.25", _electrolytic(10, 500)),
    Item(
        "capacitor",
        "Capacitor, 47 µF 100 V",
        "B-4",
        20,
        6,
        CAUSEWAY,
        "CC-4710",
        10,
        "5.20",
        _electrolytic(47, 100, "radial"),
        "1.30",
    ),
    Item(
        "capacitor",
        "25u 25V axial",
        "B-4",
        24,
        10,
        CAUSEWAY,
        "CC-2525A",
        10,
        "6.00",
        _electrolytic(25, 25, hottest=85),
    ),
    Item(
        "capacitor",
        "220u 63V radial",
        "B-4",
        15,
        5,
        CAUSEWAY,
        "CC-2263",
        10,
        "4.40",
        _electrolytic(220, 63, "radial"),
    ),
    Item(
        "capacitor",
        "4700u 63V snap-in",
        "B-3",
        4,
        2,
        CAUSEWAY,
        "CC-4763S",
        2,
        "9.80",
        _electrolytic(4700, 63, "snap-in"),
    ),
    Item(
        "capacitor",
        "Capacitor, 22 nF 630 V film",
        "B-5",
        30,
        10,
        CAUSEWAY,
        "CF-2263",
        10,
        "8.80",
        _film(0.022, 630),
        "2.20",
    ),
    Item(
        "capacitor", "100n 630V film axial", "B-5", 20, 8, CAUSEWAY, "CF-1063", 10, "10.50", _film(0.1, 630)
    ),
    Item(
        "capacitor", "47n 630V film axial", "B-5", 15, 5, CAUSEWAY, "CF-4763", 10, "9.40", _film(0.047, 630)
    ),
    Item(
        "capacitor",
        "470p 500V mica",
        "B-6",
        12,
        4,
        CAUSEWAY,
        "CM-4750",
        5,
        "6.50",
        {"value": 470e-12, "volts": 500, "tolerance": 5, "technology": "mica", "leads": "radial"},
    ),
    Item(
        "capacitor",
        "10n X2 275VAC",
        "B-6",
        10,
        4,
        CAUSEWAY,
        "CX-1027",
        10,
        "5.90",
        {"value": 10e-9, "volts": 275, "tolerance": 20, "technology": "film, class X2", "leads": "radial"},
    ),
    Item(
        "capacitor",
        "4.7n Y2 300VAC",
        "B-6",
        8,
        3,
        CAUSEWAY,
        "CY-4730",
        5,
        "3.75",
        {
            "value": 4.7e-9,
            "volts": 300,
            "tolerance": 20,
            "technology": "ceramic, class Y2",
            "leads": "radial",
        },
    ),
    # resistors
    Item(
        "resistor",
        "Resistor, 1 kΩ 5 W",
        "A-1",
        20,
        6,
        CAUSEWAY,
        "RW-1K5",
        10,
        "5.60",
        _resistor(1000, 5, "wire-wound", 5),
        "1.40",
    ),
    Item(
        "resistor",
        "Resistor, 0.33 Ω 5 W",
        "A-1",
        16,
        4,
        CAUSEWAY,
        "RW-R335",
        10,
        "4.40",
        _resistor(0.33, 5, "wire-wound", 5),
        "1.10",
    ),
    Item(
        "resistor",
        "Resistor, 100 kΩ 1 W metal film",
        "A-2",
        60,
        20,
        CAUSEWAY,
        "RM-100K1",
        50,
        "11.00",
        _resistor(100e3, 1),
        "0.55",
    ),
    Item("resistor", "220k 1W", "A-2", 50, 15, CAUSEWAY, "RM-220K1", 50, "10.00", _resistor(220e3, 1)),
    Item("resistor", "470k 1/2W", "A-2", 40, 15, CAUSEWAY, "RM-470KH", 50, "6.00", _resistor(470e3, 0.5)),
    Item("resistor", "1M 1/2W", "A-3", 45, 15, CAUSEWAY, "RM-1MH", 50, "6.00", _resistor(1e6, 0.5)),
    Item("resistor", "1k5 1/2W", "A-3", 40, 10, CAUSEWAY, "RM-1K5H", 50, "6.00", _resistor(1500, 0.5)),
    Item("resistor", "68k 1/2W", "A-3", 38, 10, CAUSEWAY, "RM-68KH", 50, "6.00", _resistor(68e3, 0.5)),
    Item("resistor", "1R 1W 1%", "A-4", 24, 8, CAUSEWAY, "RM-1R1", 10, "3.80", _resistor(1, 1)),
    Item("resistor", "100R 2W", "A-4", 20, 6, CAUSEWAY, "RM-100R2", 10, "2.90", _resistor(100, 2)),
    Item(
        "resistor",
        "470R 5W",
        "A-4",
        12,
        4,
        CAUSEWAY,
        "RW-470R5",
        10,
        "5.60",
        _resistor(470, 5, "wire-wound", 5),
    ),
    Item(
        "resistor",
        "10k 3W",
        "A-4",
        15,
        4,
        CAUSEWAY,
        "RO-10K3",
        10,
        "4.20",
        _resistor(10e3, 3, "metal oxide", 5),
    ),
    # pots
    Item(
        "pot",
        "Potentiometer, 100 kΩ linear",
        "A-5",
        6,
        2,
        CAUSEWAY,
        "PB-100K",
        2,
        "4.72",
        {"value": 100e3, "tolerance": 20, "taper": "linear", "shaft": "6.35 mm, solid"},
        "3.80",
    ),
    Item(
        "pot",
        "1M log pot",
        "A-5",
        5,
        2,
        CAUSEWAY,
        "PA-1M",
        2,
        "4.80",
        {"value": 1e6, "tolerance": 20, "taper": "log", "shaft": "6.35 mm, solid"},
    ),
    Item(
        "pot",
        "250k log pot",
        "A-5",
        5,
        2,
        CAUSEWAY,
        "PA-250K",
        2,
        "4.80",
        {"value": 250e3, "tolerance": 20, "taper": "log", "shaft": "6 mm, knurled"},
    ),
    # tubes
    Item(
        "tube",
        "EL34, matched pair",
        "C-1",
        4,
        2,
        SALTMARSH,
        "34-M2",
        1,
        "39.70",
        _type("EL34", make="Dunmere"),
        "64.00",
    ),
    Item(
        "tube",
        "6L6GC, matched pair",
        "C-1",
        3,
        2,
        SALTMARSH,
        "66-M2",
        1,
        "36.00",
        _type("6L6GC", make="Dunmere"),
        "58.00",
    ),
    Item("tube", "EL34", "C-2", 10, 4, SALTMARSH, "34-1", 1, "18.40", _type("EL34", make="Dunmere"), "29.00"),
    Item(
        "tube", "6L6GC", "C-2", 8, 4, SALTMARSH, "66-1", 1, "17.20", _type("6L6GC", make="Dunmere"), "27.50"
    ),
    Item(
        "tube", "6V6GT", "C-2", 4, 2, SALTMARSH, "6V6-1", 1, "14.90", _type("6V6GT", make="Sorrel"), "24.00"
    ),
    Item(
        "tube", "12AX7", "C-3", 18, 8, SALTMARSH, "12-AX", 5, "45.50", _type("12AX7", make="Sorrel"), "14.90"
    ),
    Item("tube", "12AT7", "C-3", 5, 2, SALTMARSH, "12-AT", 1, "9.60", _type("12AT7", make="Sorrel"), "15.50"),
    Item("tube", "5AR4", "C-4", 2, 1, SALTMARSH, "5-AR4", 1, "19.80", _type("5AR4", make="Dunmere"), "32.00"),
    # semiconductors
    Item(
        "diode",
        "Diode, 1N4007",
        "A-6",
        60,
        20,
        CAUSEWAY,
        "D-4007",
        50,
        "4.00",
        _type("1N4007", volts=1000, amps=1.0, leads="axial"),
        "0.30",
    ),
    Item(
        "diode", "1N5408", "A-6", 20, 6, CAUSEWAY, "D-5408", 10, "2.20", _type("1N5408", volts=1000, amps=3.0)
    ),
    Item(
        "diode", "1N4148", "A-6", 40, 10, CAUSEWAY, "D-4148", 50, "1.50", _type("1N4148", volts=100, amps=0.2)
    ),
    Item(
        "zener",
        "12V 5W zener",
        "A-6",
        12,
        4,
        CAUSEWAY,
        "Z-5349",
        5,
        "2.40",
        _type("1N5349B", volts=12, watts=5),
    ),
    Item(
        "zener",
        "15V 1.3W zener",
        "A-6",
        14,
        4,
        CAUSEWAY,
        "Z-15",
        10,
        "1.90",
        _type("BZX85C15", volts=15, watts=1.3),
    ),
    Item(
        "transistor",
        "Transistor, MJ15003",
        "A-7",
        6,
        2,
        CAUSEWAY,
        "T-15003",
        1,
        "4.90",
        _type("MJ15003", volts=140, amps=20.0, watts=250),
        "7.90",
    ),
    Item(
        "transistor",
        "Transistor, MJE340",
        "A-7",
        10,
        3,
        CAUSEWAY,
        "T-340",
        5,
        "1.90",
        _type("MJE340", volts=300, amps=0.5, watts=20),
        "0.95",
    ),
    Item(
        "transistor",
        "2N3904",
        "A-7",
        30,
        10,
        CAUSEWAY,
        "T-3904",
        25,
        "1.75",
        _type("2N3904", volts=40, amps=0.2),
    ),
    Item("transistor", "2N5458", "A-7", 6, 2, CAUSEWAY, "T-5458", 5, "8.50", _type("2N5458", volts=25)),
    # fuses
    Item(
        "fuse",
        "Fuse, T2A",
        "A-8",
        30,
        12,
        CAUSEWAY,
        "F-T2",
        10,
        "2.40",
        {"value": 2.0, "amps": 2.0, "volts": 250},
        "0.60",
    ),
    Item(
        "fuse",
        "Fuse, T1A",
        "A-8",
        20,
        8,
        CAUSEWAY,
        "F-T1",
        10,
        "2.40",
        {"value": 1.0, "amps": 1.0, "volts": 250},
        "0.60",
    ),
    Item(
        "fuse",
        "Fuse, T500mA",
        "A-8",
        20,
        8,
        CAUSEWAY,
        "F-T05",
        10,
        "2.40",
        {"value": 0.5, "amps": 0.5, "volts": 250},
        "0.60",
    ),
    # what is plugged, screwed, pulled
    Item("jack", "Jack socket, switched", "A-8", 12, 5, GANNET, "J-14S", 5, "5.20", {}, "2.60"),
    Item("socket", "Octal socket, chassis", "C-4", 8, 4, SALTMARSH, "S-8C", 4, "9.20", {"leads": "chassis"}),
    Item("socket", "Noval socket, chassis", "C-4", 8, 4, SALTMARSH, "S-9C", 4, "7.60", {"leads": "chassis"}),
    Item(
        "cord", "Power cord, 3-core with plug", "D-1", 8, 4, GANNET, "PC-3", 1, "5.25", {"amps": 10.0}, "8.50"
    ),
    Item("hardware", "Cord grip", "D-1", 20, 6, GANNET, "G-7", 10, "4.80", {}, "1.20"),
    Item("hardware", "Terminal strip", "D-1", 10, 3, GANNET, "TS-5", 5, "9.60", {}, "3.10"),
    Item(
        "tank", "Spring tank, 8 Ω in", "D-2", 2, 1, SALTMARSH, "RT-8", 1, "24.00", {"impedance": 8.0}, "39.00"
    ),
    Item(
        "speaker",
        "12 in 8 Ω 60 W loudspeaker",
        "D-3",
        1,
        1,
        GANNET,
        "SP-128",
        1,
        "61.00",
        {"impedance": 8.0, "watts": 60},
        "95.00",
    ),
    Item("hardware", "Recone kit, 12 in", "D-3", 2, 1, GANNET, "RK-12", 1, "32.25", {}, "52.00"),
    Item("consumable", "Coil wire and varnish", "D-3", 3, 1, GANNET, "CW-1", 1, "6.80", {}, "11.00"),
    Item(
        "transformer",
        "Output transformer, 50 W",
        "D-4",
        1,
        0,
        SALTMARSH,
        "OT-50",
        1,
        "74.00",
        {"impedance": 3400.0, "watts": 50},
        "118.00",
    ),
    Item(
        "other",
        "Relay, 24 V 16 A",
        "D-5",
        3,
        1,
        CAUSEWAY,
        "RL-2416",
        1,
        "6.10",
        {"volts": 24, "amps": 16.0},
        "9.80",
    ),
    Item("other", "Pinch roller, re-rubbered", "D-5", 2, 1, GANNET, "PR-D", 1, "21.10", {}, "34.00"),
    Item("other", "Belt, 78 mm", "D-5", 4, 2, GANNET, "BE-78", 2, "7.70", {}, "6.20"),
    Item("other", "Tape loop", "D-5", 8, 3, GANNET, "TL-1", 2, "9.30", {}, "7.50"),
    Item("other", "Hammer tips, set of 36", "D-5", 2, 1, GANNET, "HT-36", 1, "29.80", {}, "48.00"),
    Item("other", "Dust cover, sewn to measure", "D-4", 2, 1, GANNET, "DC-1", 1, "23.60", {}, "38.00"),
    Item("consumable", "Contact cleaner, 200 ml", "D-1", 6, 2, GANNET, "CL-200", 3, "20.80", {}, "11.20"),
    # bought once, and asleep since
    Item(
        "tube",
        "6SN7GT",
        "C-4",
        6,
        0,
        SALTMARSH,
        "6SN7-1",
        1,
        "16.40",
        _type("6SN7GT", make="Sorrel"),
        "26.00",
    ),
    Item(
        "transformer",
        "Power transformer, 330-0-330 V 120 mA",
        "D-4",
        1,
        0,
        SALTMARSH,
        "PT-330",
        1,
        "88.00",
        {"volts": 330, "amps": 0.12},
        "140.00",
    ),
    Item(
        "pot",
        "5M log pot",
        "A-5",
        6,
        0,
        CAUSEWAY,
        "PA-5M",
        2,
        "6.40",
        {"value": 5e6, "tolerance": 20, "taper": "log"},
    ),
)

# kind, name, drawer, how much there is: what isn't worth counting
LOOSE: Final = (
    ("hardware", "M4 screws, 10 mm", "D-1", "plenty"),
    ("hardware", "M3 nuts", "D-1", "plenty"),
    ("hardware", "Star washers, 4 mm", "D-1", "low"),
    ("consumable", "Solder, 0.7 mm", "D-1", "plenty"),
    ("consumable", "Heat-shrink sleeve, 3 mm", "D-1", "low"),
    ("consumable", "Cotton swabs", "D-1", "out"),
    ("consumable", "Hook-up wire, 0.5 mm²", "D-1", "plenty"),
)

# kind, name, Ω, other side Ω, W, note
BENCH_GEAR: Final = (
    ("test load", "Load box, 8 Ω", 8.0, None, 200.0, "Fan comes on at 60 W."),
    ("test load", "Load box, 4 Ω", 4.0, None, 200.0, ""),
    ("test load", "Load box, 16 Ω", 16.0, None, 100.0, "Wire-wound, on the wall."),
    ("spring tank", "Known-good tank, long", 8.0, 2250.0, None, "Two springs. On the hook by the window."),
    ("transformer", "Known-good output transformer", 3400.0, 8.0, 50.0, ""),
    ("other", "Isolating transformer, 500 VA", None, None, None, "Stays on the bench."),
)

# Plate currents in mA of single tubes at one operating point, as they come out of a box; invented.
MEASURED: Final = {
    "EL34": (34.8, 36.1, 35.9, 41.2, 33.9, 36.4, 38.0, 35.0, 40.7),
    "6L6GC": (31.2, 33.0, 32.8, 29.4, 33.3, 31.5),
}
AT: Final = {"plate_volts": 400.0, "screen_volts": 400.0, "grid_volts": -38.0, "warm_minutes": 20}
TESTER: Final = "The shop's own jig"
