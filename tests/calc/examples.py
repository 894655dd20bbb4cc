"""What somebody might type into each worksheet, over what it opens with: each is answered, and with its pictures."""

from typing import Final

from calc.sheets import initial
from calc.worksheets import by_slug
from tests.calc.worksheets.test_supply import AMP

_TYPED: Final[dict[str, dict[str, str]]] = {
    "markings": {"figure_1": "yellow", "figure_2": "violet", "multiplier": "red", "band_tolerance": "gold"},
    "idle-current": {"type": "6L6GC", "plate": "450 ± 3", "tube-1-sense": "44", "tube-2-sense": "46.7"},
    "supply": {**AMP, "what": "dried"},
    "gain-stage": {"supply": "300", "cathode_resistor": "1k5", "plate_resistor": "100k"},
    "voltage-chart": {
        "point-count": "2",
        "point-1-where": "V1 pin 6",
        "point-1-what": "plate",
        "point-1-expected": "180",
        "point-1-measured": "262",
        "point-2-where": "first filter",
        "point-2-what": "supply",
        "point-2-expected": "330",
        "point-2-measured": "352",
    },
    "discharge": {
        "capacitor-1-capacitance": "100",
        "capacitor-1-volts": "450",
        "capacitor-1-bleeder": "220k",
    },
    "speaker-loads": {"power": "50", "tap": "8", "driver-count": "1", "driver-1-impedance": "8"},
    "output-transformer": {"primary": "10", "tap-count": "1", "tap-1-volts": "0.35"},
    "mains": {"design": "117", "line": "124"},
    "droppers": {"rail-1-supply": "30", "rail-1-rail": "12", "rail-1-zener": "12", "rail-1-load_most": "20"},
    "power-and-level": {"volts": "20"},
    "filters": {"arms-1-r": "100k", "arms-2-r": "1M"},
    "spring-tank": {"input_ohms": "8", "output_ohms": "2250"},
    "after-repair-test": {
        "protection": "class-i",
        "looked": "fine",
        "earth": "0.12",
        "cord": "2",
        "area": "0.75",
        "insulation_by": "500",
        "insulation": "20",
        "protective_current": "0.4",
        "works": "fine",
    },
}


def example(slug: str) -> dict[str, str]:
    """What stands in every box of a worksheet, as it would be sent."""
    sheet = by_slug(slug)
    assert sheet is not None, slug
    return {**initial(sheet), **_TYPED.get(slug, {}), "filled": "1"}
