"""What can hurt at this bench, and what to do about it: every caution that a page or a worksheet shows, by its name.

The one place where these texts are written. What a worksheet says of its own figures ("capacitor 2 is charged") it
writes itself. All of it is the usual caution of the trade (common practice, no source); local codes, licensed practice
and one's own training come first. The owner of the shop adds words to each, in `calc.caution_words`.
"""

from dataclasses import dataclass, replace
from typing import Final


@dataclass(frozen=True)
class Caution:
    """What can hurt, in one plain sentence; what to do, what not to. `name` is empty where it isn't one of ours."""

    said: str
    do: str = ""
    dont: str = ""
    name: str = ""


_WRITTEN: Final[dict[str, Caution]] = {
    # --- under power -------------------------------------------------------------------------------------------
    "live-gear": Caution(
        "Voltages in this gear can kill, also after it is unplugged.",
        do="Discharge the supply and measure that it is gone before you touch anything. Probe live gear with one hand, "
        "the other away from the chassis. Your training and the local rules come first.",
        dont="Don’t work on live gear alone, tired, or without having been taught.",
    ),
    "read-under-power": Caution(
        "This is read with the power on.",
        do="Probe with one hand, the other away from the chassis. Your training and the local rules come first.",
    ),
    "live-points": Caution(
        "These points are live at hundreds of volts.",
        do="Clip the meter’s ground on with the power off; then one hand, one probe.",
        dont="Don’t slip: a probe across two pins makes the next fault.",
    ),
    "plates-and-supplies": Caution(
        "Plates and supplies carry hundreds of volts, and the capacitors hold them after switch-off.",
        do="Clip the meter to the chassis first, and probe with one hand.",
        dont="Don’t touch anything else while it is on.",
    ),
    "reading-idle": Caution(
        "You read this with the amp on and its plates at hundreds of volts.",
        do="Clip the meter on while it is off and discharged, a load on the output. Then keep one hand off it.",
        dont="Don’t put an ammeter across half of the output transformer: it hangs at B+ and can make the amp "
        "oscillate.",
    ),
    "measuring-tubes": Caution(
        "Plate and screen stand at hundreds of volts while you measure.",
        do="Let it warm for ten minutes, keep one hand away, and read only when nothing is being moved.",
    ),
    "running-away": Caution(
        "A tube whose current climbs is running away.",
        do="Wait ten minutes. Switch off if it drifts by more than a tenth: leaky coupling capacitor, gassy tube.",
    ),
    "tube-over-its-limit": Caution(
        "A tube over its limit can glow, short, and take the output transformer with it.",
        do="Switch it off now. Find out why before it is on again: no bias at a grid, a leaky coupling capacitor, a "
        "wrong tube.",
        dont="Don’t leave it on while you look.",
    ),
    "bias-missing": Caution(
        "The bias is missing or too weak: power tubes run away.",
        do="Switch off, and pull the power tubes before you look for it.",
    ),
    "driver-transformer": Caution(
        "The driver transformer’s primary carries the B+ of the amplifier.",
        do="Measure coils with the amplifier off, its capacitors discharged, and the tank’s cords pulled out.",
        dont="Don’t unplug the tank’s input from a tube driver that is playing loud.",
    ),
    "left-on": Caution(
        "Gear that is left on can smoke, burn, and run its capacitors until they burst.",
        do="Stay where you see, hear and smell it, nothing that burns beside it, the switch within reach.",
        dont="Don’t leave it on alone in the shop, or overnight.",
    ),
    # --- charge that stays -------------------------------------------------------------------------------------
    "stored-charge": Caution(
        "These capacitors can kill after the gear is unplugged. A calculated time is never a clearance.",
        do="Switch off, unplug, wait. Prove the meter on a known voltage. Measure each section, one hand behind "
        "your back. Discharge it through an insulated resistor, measure, leave the clip on. Prove the meter again.",
        dont="Don’t short it with a screwdriver. Don’t trust a bleeder, a lamp or a number: your training and the "
        "local rules come first.",
    ),
    "charge-comes-back": Caution(
        "A discharged capacitor charges itself up again.",
        do="Take the clip off, wait 60 s, and measure again before you touch it.",
    ),
    "trapped-charge": Caution(
        "A capacitor behind an open resistor or winding keeps its charge.",
        do="Prove each section discharged by itself before you touch it.",
    ),
    "supply-volts": Caution(
        "These volts kill, and stay after switching off.",
        do="Switch off, unplug, discharge through a resistor, measure, leave the clip on.",
        dont="Don’t trust a bleeder, or a time on this page: measure.",
    ),
    "silicon-for-a-tube": Caution(
        "Silicon in place of a rectifier tube raises the volts, and brings them before the tubes are warm.",
        dont="Don’t fit it without holding every capacitor against the no-load volts.",
    ),
    "lifted-can": Caution(
        "A zener in the centre tap lifts the winding and the first capacitor’s can off the chassis.",
        do="Insulate the can, and mark it.",
    ),
    # --- the mains and the earth -------------------------------------------------------------------------------
    "line-voltage": Caution(
        "Line voltage kills, and a wrong cord kills later.",
        do="Your local code comes first; the building’s wiring is for licensed electricians.",
        dont="Don’t take an autotransformer or a bucking transformer for isolation: neither is.",
    ),
    "live-chassis": Caution(
        "LIVE CHASSIS: nothing isolates this set, and its metal can be at line potential.",
        do="Work on it from an isolation transformer only, knobs and shafts covered.",
        dont="Never earth the chassis, and never fit a grounded cord to it.",
    ),
    "two-wire-cord": Caution(
        "With a two-wire cord nothing takes a fault away from whoever touches the strings.",
        do="A grounded cord, its earth on its own bolt, makes the fuse blow instead. Your local code says who may fit "
        "it and how.",
    ),
    "line-capacitor": Caution(
        "A capacitor from line to chassis that fails puts the whole line on the player.",
        do="Take it out, and fit a grounded cord as your local code has it.",
        dont="Never fit a new one in its place.",
    ),
    "wrong-line": Caution(
        "The line is no line for this set.",
        do="Use its other primary tap if it has one, or a transformer of the right ratio that bears its VA.",
        dont="DON’T PLUG IT IN.",
    ),
    "safety-test": Caution(
        "The insulation test puts 500 V on the gear, and the leakage tests are done while it is on.",
        do="Unplug it and discharge it before the insulation test, and discharge it again after. Where you are not "
        "trained for this, or local rules ask for somebody who is, let them do it.",
        dont="Don’t touch the gear while a test runs. Don’t plug it in before the protective earth passed.",
    ),
    "test-limits": Caution(
        "Limits differ by standard, edition and place.",
        do="Check them against the edition that holds where you are, or ask somebody licensed.",
        dont="Don’t widen a limit so that something passes.",
    ),
    # --- outputs, loads, transformers --------------------------------------------------------------------------
    "no-load": Caution(
        "A valve amplifier that plays without a load can destroy its output transformer.",
        do="Connect a test load that takes the power before you switch on. It gets hot.",
        dont="Don’t connect a grounded scope or recorder to an output of which neither side is ground, as in a "
        "bridged amplifier.",
    ),
    "no-speaker": Caution(
        "A valve amplifier without a load can destroy its output transformer.",
        do="Connect speaker or test load before you switch on.",
        dont="Never unplug it while it plays.",
    ),
    "floating-output": Caution(
        "Some solid-state outputs have no grounded side: bridged ones above all.",
        do="Measure with a floating meter, or with two channels and their difference.",
        dont="Never clip a scope’s ground to such an output.",
    ),
    "hot-load": Caution(
        "A test load at full power burns skin and benches.",
        do="Stand it clear of cords, where air gets to it.",
    ),
    "recorder-input": Caution(
        "A recorder’s input is made for a volt or two, and a power amplifier’s output can destroy it.",
        do="Use a divider across the test load, and start with everything turned down.",
        dont="Don’t connect a grounded recorder to an output of which neither side is ground, as in a bridged "
        "amplifier.",
    ),
    "steps-up": Caution(
        "It steps up as well as down: volts on a speaker tap become tens of times as many on the primary.",
        do="Amp off, unplugged and discharged, tubes out. Feed the primary with a few volts from a generator, or a "
        "tap with less than a volt.",
        dont="Don’t feed a speaker tap from the mains or from a heater winding.",
    ),
    "fed-tap": Caution(
        "A tap that is fed makes the primary’s ends lethal.",
        do="Switch the feed off before you touch anything. Feed the primary instead, or less than a volt.",
        dont="Don’t feed a tap from the mains, nor from a mains transformer.",
    ),
    "bad-insulation": Caution(
        "Bad insulation puts B+ on the chassis or on the loudspeaker’s wires.",
        do="Test it again out of the amp, dry and clean. Replace it if it stays so.",
        dont="Don’t connect it to B+.",
    ),
    # --- parts and gear of the bench ---------------------------------------------------------------------------
    "hot-resistors": Caution(
        "Power resistors burn fingers and scorch boards, also when all is well.",
        do="Discharge and prove the supply first. Stand them off, 20 mm clear of the board from 2 W on, and replace "
        "fusible and flameproof ones like with like.",
    ),
    "old-markings": Caution(
        "A marking says what a part was when it was made, not what it is now.",
        do="Unplug, discharge and prove it before you measure a part, and lift one leg of it.",
    ),
    "stand-ins": Caution(
        "A stand-in is worked out from what is written down of the parts.",
        do="Look at the part and at its maker’s sheet before you fit it. Discharge the supply first, and measure that "
        "it is.",
        dont="No stand-in for a part that keeps people safe: capacitors across the mains, fusible resistors, thermal "
        "fuses. Fit the type that the maker names.",
    ),
    "meters": Caution(
        "A meter, a lead or a fuse in it that isn’t made for the place can burst in the hand.",
        do="Use meter, leads and fuses rated for the volts and the place where you measure. Prove the meter on a known "
        "voltage before and after you measure that nothing is there.",
        dont="Don’t measure with cracked leads, and don’t fit another fuse than the maker names.",
    ),
    "bench-gear": Caution(
        "Gear of the bench fails too, and then it is what hurts.",
        do="Look at cords, clips and plugs before you use it, and prove a meter on a known voltage. Have it tested as "
        "your local rules ask.",
        dont="Don’t take a variac for an isolation transformer: it isolates nothing.",
    ),
    # --- gear that comes in, and goes --------------------------------------------------------------------------
    "was-wet": Caution(
        "Something here got wet, or smelled or smoked.",
        do="Let the bench look at it, dry, before anybody switches it on. Say so on its tag.",
        dont="Don’t plug it in to try it.",
    ),
    "goes-as-it-is": Caution(
        "What was wrong with it still is.",
        do="Tell the owner what is unsafe about it, and write it on the job.",
        dont="Don’t let them plug in gear that you would not plug in yourself.",
    ),
    "unsafe-gear": Caution(
        "Whoever plugs it in can be hurt, here or at home.",
        do="Unplug it, tie the tag to it where the cord is, and tell its owner what is wrong with it. Local rules may "
        "ask for more.",
        dont="Don’t try it once more to be sure.",
    ),
}

CAUTIONS: Final[dict[str, Caution]] = {
    name: replace(caution, name=name) for name, caution in _WRITTEN.items()
}


def named(name: str) -> Caution:
    """The caution of that name.

    Raises:
        KeyError: there is none; the text is a mistake of ours.
    """
    return CAUTIONS[name]
