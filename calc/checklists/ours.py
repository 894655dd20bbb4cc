"""The lists that a shop starts with.

They say what is usual at a bench, and defer to local codes, licensed practice and training. A source stands beside a
line where a published one says it; `from memory` where it wasn't at hand when this was written. A shop makes them its
own.
"""

from typing import Final

from calc.checklists.lines import Ask, Checklist, Has, Line, Stage

SAFE_VOLTS: Final = 50.0
AGAIN: Final = (
    60  # seconds: a capacitor that was emptied recharges itself by so much in the first minute or so
)
EARTH_OHMS: Final = 0.3
HEATER_LEAST: Final = 5.67  # 6.3 V - 10 %
HEATER_MOST: Final = 6.93  # 6.3 V + 10 %
SOAK: Final = 2 * 3600  # seconds
DRIFT: Final = 10.0  # per cent

_DEAD_FIRST: Final = "29 CFR 1910.333(a)(1)"
_UNDER_50: Final = "29 CFR 1910.333(a)(1): under 50 V to ground"
_DISCHARGE: Final = "29 CFR 1910.333(b)(2)(iii), from memory"
_CORDS: Final = "29 CFR 1910.334(a)(2), from memory"
_FREE_OF_HAZARDS: Final = "29 CFR 1910.303(b)(1), from memory"
_BY_CODE: Final = "Local code and licensed practice decide"
_ABSORPTION: Final = "Textbook figure: 1 to 10 % of the voltage comes back in electrolytics, from memory"

_MAINS: Final = frozenset({Has.MAINS})
_NO_MAINS: Final = frozenset({Has.NO_MAINS})

_BEFORE_OPENING: Final = Checklist(
    slug="before-opening",
    name="Before opening",
    said="Before a screw of the case is loosened.",
    stage=Stage.BEFORE_OPENING,
    applies=_MAINS,
    lines=(
        Line(
            "unplugged",
            "Unplug it from the wall, and keep the plug where you see it.",
            "A switch can fail closed, and somebody else can put a plug back.",
            _DEAD_FIRST,
            if_not="Leave the case shut until the plug is out.",
        ),
        Line(
            "speaker",
            "Unplug speakers, pedals and everything else that hangs on it.",
            "Other gear can feed voltage into it, and cords pull it off the bench.",
            if_not="Trace the cord to its other end, and take it off there.",
        ),
        Line(
            "plate",
            "Read the plate: its line voltage is the one here, and how it is built is written down.",
            "The lists and limits for it follow from how it is built.",
            if_not="Write down how it is built first; for another line voltage it waits for the right supply.",
        ),
        Line(
            "cord",
            "Look the plug and cord over from end to end: no cut, no bare wire, no loose pin.",
            "A bad cord is the first thing that a hand touches.",
            _CORDS,
            if_not="Tie a note to the cord, keep it unplugged, and put the list for cord and earth first.",
        ),
        Line(
            "smell",
            "Look and smell at the vents before you reach in: no mould, no dust of fibres, no leaked battery.",
            "What is in the air or on your hands goes home with you.",
            if_not="Put its list on the job, and do that first.",
        ),
        Line(
            "place",
            "Clear the bench and dry it, and set the gear where it can’t tip.",
            "Transformers make a chassis heavy on one side.",
            if_not="Move it, or fetch somebody to lift it with you.",
        ),
        Line(
            "jewellery",
            "Take off rings, watch, chain and lanyard, and tie back long hair.",
            "Metal on skin carries current, and loose things reach in before you see it.",
            if_not="Do it now; whoever can’t take it off leaves this to somebody else.",
        ),
        Line(
            "company",
            "Tell somebody in the house that you are opening it.",
            "Somebody must be there to switch off and call for help.",
            if_not="Wait until somebody is in; do paperwork meanwhile.",
        ),
    ),
)

_BEFORE_POWER: Final = Checklist(
    slug="before-power",
    name="Before power",
    said="Discharged and proven by readings, looked over, nothing shorted: then it may be plugged in.",
    stage=Stage.BEFORE_POWER,
    applies=_MAINS,
    lines=(
        Line(
            "unplugged",
            "Unplug it, and keep the plug in sight.",
            "Only what is unplugged can be emptied.",
            _DEAD_FIRST,
            if_not="Pull the plug; then begin here.",
            fixed=True,
        ),
        Line(
            "discharged",
            "Discharge each section through a bleeder with one hand, then measure across the first capacitor.",
            "Only a reading clears it; a calculated time never does.",
            f"{_UNDER_50}; to discharge: {_DISCHARGE}",
            ask=Ask.READING,
            if_not="Keep your hands out, discharge it again through the bleeder, and measure again.",
            point="Reservoir, discharged",
            unit="V",
            at_most=SAFE_VOLTS,
            fixed=True,
        ),
        Line(
            "other-sections",
            "Measure across every other large capacitor, and write down the highest.",
            "A dropping resistor may be open: what is behind it stays charged.",
            _UNDER_50,
            ask=Ask.READING,
            if_not="Discharge that section by itself, and measure all of them again.",
            may_not_apply=True,
            point="Other sections, the highest, discharged",
            unit="V",
            at_most=SAFE_VOLTS,
            fixed=True,
        ),
        Line(
            "discharged-again",
            "Take the bleeder off, wait a minute, and measure across the first capacitor again.",
            "What soaked into the dielectric comes back by itself.",
            f"{_UNDER_50}. {_ABSORPTION}",
            ask=Ask.READING,
            if_not="It came back: discharge it longer, and measure again after a minute.",
            point="Reservoir, a minute later",
            unit="V",
            at_most=SAFE_VOLTS,
            wait=AGAIN,
            since="discharged",
            fixed=True,
        ),
        Line(
            "clipped",
            "Clip the bleeders on, and leave them on while your hands are inside.",
            "A clip keeps empty what came back once.",
            _DISCHARGE,
            if_not="Fetch bleeders rated for the full voltage, and clip them on.",
        ),
        Line(
            "looked-over",
            "Look it over for burnt parts, leaks, bulging capacitors, loose tubes and cracked solder.",
            "What burnt once burns again with power on it.",
            _FREE_OF_HAZARDS,
            if_not="Replace what is damaged, find what damaged it, and look again.",
        ),
        Line(
            "fuse",
            "Check that each fuse has the current, voltage and speed that its marking asks for.",
            "A larger or slower fuse lets the transformer burn instead.",
            if_not="Fit the fuse that the marking or the maker’s drawing names.",
        ),
        Line(
            "no-short",
            "Take the clips off for an ohmmeter: no short across the supply, none from the mains to the chassis.",
            "A short found now costs nothing; with power on it costs a transformer.",
            if_not="Find the short section by section before it gets power.",
            fixed=True,
        ),
        Line(
            "cleared",
            "Take out every clip, tool and loose screw, and count the screws.",
            "A clip left on the supply is a short when power comes.",
            if_not="Turn it over, and look again until all are found.",
        ),
        Line(
            "supply",
            "Feed it from the bench socket with the residual-current device; test its button first.",
            "It trips for current to earth, but not for two hands across a supply.",
            _BY_CODE,
            if_not="Use another socket that has one, and have this one seen to by an electrician.",
        ),
        Line(
            "isolated",
            "Put an isolation transformer before it if it has no mains transformer of its own.",
            "Its chassis can be at line voltage; a variac isolates nothing.",
            if_not="It gets no power until there is one that is large enough.",
            may_not_apply=True,
        ),
        Line(
            "ready-to-work",
            "Stand dry, one hand free of the gear, and with somebody in the house who can switch off.",
            "Current from hand to hand crosses the heart.",
            if_not="Stop here, and go on when it is so.",
        ),
    ),
)

_FIRST_POWER: Final = Checklist(
    slug="first-power",
    name="First power-up",
    said="Power for the first time after it was opened: slowly, with something that gives way before the amp does.",
    stage=Stage.FIRST_POWER,
    applies=_MAINS,
    lines=(
        Line(
            "load",
            "Hang a load of the right ohms and twice its power on every speaker output.",
            "A tube output stage without a load can break down its transformer.",
            if_not="Fetch a load; without one it stays off.",
            may_not_apply=True,
        ),
        Line(
            "limiter",
            "Bring it up through a filament limiter lamp or a variac with an ammeter.",
            "A short then lights the lamp; it protects the gear, not you.",
            if_not="Find a limiter that fits its power.",
            may_not_apply=True,
        ),
        Line(
            "lamp",
            "Watch the lamp or the ammeter: it flares, then falls back.",
            "Bright for good means a short.",
            if_not="Switch off, unplug, discharge, and look for the short.",
        ),
        Line(
            "smoke",
            "Look, listen and smell for a minute with a hand on the switch.",
            "Smoke, a hum or a hiss come before a part bursts.",
            if_not="Switch off and unplug; keep your face away, and let it cool.",
        ),
        Line(
            "heaters",
            "Read the heaters at a socket, at full line voltage.",
            "Over or under that a tube wears out early.",
            "Tube makers’ manuals: 6.3 V ± 10 %, from memory",
            ask=Ask.READING,
            if_not="Switch off; compare the line voltage with the transformer’s tap.",
            may_not_apply=True,
            point="Heaters, 6.3 V",
            unit="V",
            at_least=HEATER_LEAST,
            at_most=HEATER_MOST,
            powered=True,
        ),
        Line(
            "rising",
            "Raise the line in steps and watch the supply rise with it, to no more than its capacitors bear.",
            "A supply that stays low is loaded; one that runs high has nothing drawing on it.",
            if_not="Switch off; compare with the drawing before you go higher.",
        ),
        Line(
            "supply",
            "Read the supply across the first capacitor, at full line voltage.",
            "It is what all later readings are compared with.",
            ask=Ask.READING,
            if_not="Switch off, and look at the rectifier and what it feeds.",
            point="Supply, first power-up",
            unit="V",
            powered=True,
        ),
        Line(
            "current",
            "Read the mains current at idle, and hold it against the plate.",
            "More than the plate says is a fault, whatever else looks right.",
            ask=Ask.READING,
            if_not="Switch off, and find what draws it.",
            point="Mains current, idling",
            unit="A",
            powered=True,
        ),
        Line(
            "bias",
            "Read the bias at the grid of each output tube, and write down the least.",
            "A tube without bias is ruined in a minute.",
            ask=Ask.READING,
            if_not="Switch off, take the output tubes out, and mend the bias supply first.",
            may_not_apply=True,
            point="Bias, output tube, the least",
            unit="V",
            powered=True,
        ),
        Line(
            "idle",
            "Read the idle current of each output device, and write down the highest.",
            "The worksheet for idle current says what it makes of the tube’s limit.",
            ask=Ask.READING,
            if_not="Switch off, and set the bias colder before you go on.",
            may_not_apply=True,
            point="Idle current, output device, the highest",
            unit="A",
            powered=True,
        ),
        Line(
            "ten-minutes",
            "Leave it for ten minutes under your eyes: nothing glows, drifts or smells.",
            "A plate that glows red or a current that creeps shows only when it is warm.",
            if_not="Switch off, and find which part gets hot.",
        ),
    ),
)

_LIVE: Final = Checklist(
    slug="live",
    name="Live work",
    said="Before you measure or adjust inside it with power on.",
    stage=Stage.LIVE,
    applies=_MAINS,
    lines=(
        Line(
            "needed",
            "Ask whether it must be live, and do it dead where it can be done so.",
            "The safest reading is the one taken cold.",
            _DEAD_FIRST,
            if_not="Unplug and discharge it, and do it dead.",
        ),
        Line(
            "rested",
            "Go on only if you are rested, sober, unhurried and have eaten.",
            "Tired hands slip.",
            if_not="Leave it for tomorrow; the queue can wait.",
        ),
        Line(
            "company",
            "Tell somebody who can hear you, and show them the switch.",
            "They switch off before they touch you.",
            "NFPA 70E, articles 110 and 120, from memory",
            if_not="Wait for somebody.",
        ),
        Line(
            "jewellery",
            "Take off rings, watch and chain, and roll down your sleeves.",
            "Metal on skin bridges what a finger would miss.",
            if_not="Do it now.",
        ),
        Line(
            "one-hand",
            "Put one hand in your pocket, and keep it there while you probe.",
            "Current from hand to hand crosses the heart.",
            if_not="Clip the probe on with power off; then there is no need for two.",
        ),
        Line(
            "probes",
            "Look at the probes: rated for this voltage and category, no crack, guards on.",
            "A probe that gives way puts the supply into your hand.",
            if_not="Take other probes, and throw these away.",
        ),
        Line(
            "clip-first",
            "Clip the return lead on with power off, and move it only with power off.",
            "Then one hand does the rest.",
            if_not="Switch off, discharge, and clip it on.",
        ),
        Line(
            "scope",
            "Make sure that nothing with an earthed lead hangs on a chassis that isn’t earthed.",
            "An oscilloscope’s lead is earth: on a live chassis it is a short.",
            if_not="Feed the gear from an isolation transformer, or measure between two probes.",
        ),
        Line(
            "dry",
            "Stand on a dry floor or mat, and touch nothing earthed with your other arm.",
            "Your body must not be the way to earth.",
            if_not="Dry the place, or move the gear.",
        ),
        Line(
            "guarded",
            "Cover what you don’t work on, and turn the open side away from others.",
            "Bare parts at 50 V or more have to be guarded.",
            "29 CFR 1910.303(g)(2), from memory",
            if_not="Put a board or a rubber mat over it.",
        ),
    ),
)

_EARTH: Final = Checklist(
    slug="earth",
    name="Mains cord and earth",
    said="What brings the mains in, and what keeps its metal harmless.",
    stage=Stage.EARTH,
    applies=_MAINS,
    lines=(
        Line(
            "allowed",
            "Make sure that local code lets you change its mains side, and keep to what it asks.",
            "Who may do this, and how, differs by place.",
            _BY_CODE,
            if_not="Hand it to somebody who is licensed for it.",
        ),
        Line(
            "cord",
            "Look the plug and cord over: whole, of the right rating, with the right pins for here.",
            "A cord is bent, pulled and trodden on for decades.",
            _CORDS,
            if_not="Fit a new cord and plug of the right rating.",
        ),
        Line(
            "strain-relief",
            "Pull, push and twist the cord where it goes in: nothing moves, and no edge cuts it.",
            "A cord that slips pulls its live wire onto the chassis.",
            if_not="Fit a strain relief that grips this cord; a knot is none.",
        ),
        Line(
            "transformer",
            "Find out whether a mains transformer stands between line and chassis; without one, earth nothing.",
            "A chassis that is wired to the line must never be earthed.",
            if_not="Unplug it, and trace both wires of the cord before you go on.",
        ),
        Line(
            "line-capacitor",
            "Look for a capacitor from line to chassis, and take it out unless it is a class Y part that must stay.",
            "One of 47 nF lets 2.1 mA through you at 120 V and 60 Hz, 3.5 mA at 240 V and 50 Hz.",
            "Class Y: IEC 60384-14, from memory. Touch current at most 0.5 mA: EN 50678:2020, clause 5.6 (its number"
            " from memory)",
            if_not="Take it out; never fit a new one.",
            may_not_apply=True,
        ),
        Line(
            "two-wire",
            "Decide with local code and its owner whether two wires become three, and write down what was decided.",
            "With two wires a single fault makes the strings live.",
            _BY_CODE,
            if_not="Ask its owner; the job waits for the answer.",
            may_not_apply=True,
        ),
        Line(
            "line-and-neutral",
            "Take line through the fuse, then the switch, and leave neutral whole.",
            "A fuse or switch in neutral leaves it live when it looks off.",
            f"Common practice. {_BY_CODE}",
            if_not="Wire it so, and test with the plug in your hand which pin is which.",
        ),
        Line(
            "earth-bolt",
            "Give the green-yellow wire a bolt of its own on the chassis, and the longest slack.",
            "When the cord is torn out, earth must be the last to let go.",
            f"Common practice. {_BY_CODE}",
            if_not="Drill for a bolt of its own, scrape the paint off, and use a lock washer.",
            may_not_apply=True,
        ),
        Line(
            "bond",
            "Move the cord while you measure from the plug’s earth pin to the chassis.",
            "A fuse only blows if earth carries its current.",
            "EN 50678:2020, clause 5.3 (its number from memory): 0.3 Ω for a cord up to 5 m",
            ask=Ask.READING,
            if_not="Clean and tighten each joint of the earth, and change the cord if it is that.",
            may_not_apply=True,
            point="Earth pin to chassis",
            unit="ohm",
            at_most=EARTH_OHMS,
        ),
        Line(
            "all-metal",
            "Try every metal part that a hand can reach: it is earthed, or it is insulated well.",
            "Paint and rubber feet cut panels off from the chassis.",
            if_not="Bond it to the chassis.",
            may_not_apply=True,
        ),
    ),
)

_LITHIUM: Final = Checklist(
    slug="lithium",
    name="Lithium battery",
    said="Cells and packs: a coin on a board as well as a pack that is charged.",
    stage=Stage.HANDLING,
    applies=frozenset({Has.LITHIUM}),
    lines=(
        Line(
            "swollen",
            "Look at it before you touch it: not swollen, dented, hot or leaking.",
            "A hurt cell can catch fire hours later.",
            if_not="Don’t charge, press or pierce it; keep people away from it, and ask your fire service.",
        ),
        Line(
            "out-first",
            "Take it out before you solder, and never solder on a cell.",
            "Heat starts what can’t be put out.",
            if_not="Take it out first; fit cells that come with tabs.",
        ),
        Line(
            "ends-taped",
            "Tape over its ends, and keep it away from metal and from children.",
            "A short makes it hot; a swallowed coin cell burns within hours.",
            if_not="Do it now. If one was swallowed, call emergency help at once.",
        ),
        Line(
            "same-kind",
            "Fit the same chemistry, voltage and polarity, and no charge into one that isn’t rechargeable.",
            "A cell that is charged and wasn’t made for it bursts.",
            if_not="Look for the diode or resistor that keeps charge away from it, and mend that first.",
        ),
        Line(
            "charge",
            "Charge it only with its own charger, on something that doesn’t burn, and stay with it.",
            "It fails most often while it is charged.",
            if_not="Leave it uncharged.",
            may_not_apply=True,
        ),
        Line(
            "waste",
            "Take the old one to where batteries are taken back.",
            "It burns in a bin.",
            _BY_CODE,
            if_not="Keep it taped, in a tin with sand, until you can.",
        ),
    ),
)

_LEAD_ACID: Final = Checklist(
    slug="lead-acid",
    name="Lead battery",
    said="Acid, a gas that burns, and hundreds of amperes in a short.",
    stage=Stage.HANDLING,
    applies=frozenset({Has.LEAD_ACID}),
    lines=(
        Line(
            "goggles",
            "Put on goggles and gloves, and have water within reach.",
            "Acid in an eye takes minutes; rinse long, and get help.",
            if_not="Fetch them first.",
        ),
        Line(
            "leaks",
            "Look for cracks, bulges and white crust.",
            "A case that bulges was overcharged.",
            if_not="Don’t charge it; wash up what leaked with baking soda and water, and change it.",
        ),
        Line(
            "aired",
            "Open a window, and keep sparks and flames away.",
            "What it gives off while it charges burns.",
            if_not="Move it to where air comes through.",
        ),
        Line(
            "minus-first",
            "Take the chassis side off first and put it on last, with tools that are insulated.",
            "Then a spanner that slips touches nothing live.",
            if_not="Stop, put the lead back, and begin with the other one.",
        ),
        Line(
            "fused",
            "Make sure that a fuse sits close to the battery.",
            "Without one a short burns the wires.",
            if_not="Fit one of the right rating at the battery’s own lead.",
        ),
        Line(
            "waste",
            "Take the old one to where lead batteries are taken back.",
            "Lead and acid belong in no bin.",
            _BY_CODE,
            if_not="Keep it upright in a tray until you can.",
        ),
    ),
)

_CRT: Final = Checklist(
    slug="crt",
    name="Picture tube",
    said="Tens of thousands of volts that stay, and glass under vacuum.",
    stage=Stage.HANDLING,
    applies=frozenset({Has.CRT}),
    lines=(
        Line(
            "trained",
            "Go on only if somebody showed you how this is done.",
            "Its voltage is far above what our meters and bleeders bear.",
            if_not="Leave it shut, and hand it to somebody who knows.",
        ),
        Line(
            "face",
            "Put on a face shield and gloves, and take off everything that scratches.",
            "A tube that cracks throws its glass.",
            if_not="Fetch them first.",
        ),
        Line(
            "off-a-while",
            "Unplug it, and let it stand a while before the back comes off.",
            "Some of the charge drains away by itself; never rely on it.",
            _DEAD_FIRST,
            if_not="Pull the plug, and begin here.",
        ),
        Line(
            "anode",
            "Discharge the anode through a high-voltage resistor probe to the tube’s own outer coating.",
            "A straight short can kill the circuits, and the chassis may be no way back.",
            _DISCHARGE,
            if_not="Clip the probe’s lead on first, then slide it under the cup with one hand.",
        ),
        Line(
            "anode-again",
            "Wait a few minutes, and discharge it again.",
            "Glass gives back what soaked into it.",
            _ABSORPTION,
            if_not="Discharge it once more, and wait again.",
            wait=180,
            since="anode",
        ),
        Line(
            "neck",
            "Lift it by the face, never by its neck.",
            "The neck breaks first.",
            if_not="Put it down on something soft, and take hold anew.",
        ),
    ),
)

_TAPE_MOTOR: Final = Checklist(
    slug="tape-motor",
    name="Tape motor",
    said="Motors that run from the mains, with their capacitor, belts and wheels.",
    stage=Stage.HANDLING,
    applies=frozenset({Has.TAPE_MOTOR}),
    lines=(
        Line(
            "stopped",
            "Unplug it, and wait until everything stands still.",
            "Belts and wheels pull in fingers, hair and sleeves.",
            _DEAD_FIRST,
            if_not="Pull the plug, and wait.",
        ),
        Line(
            "run-capacitor",
            "Discharge the motor’s capacitor through a bleeder, and measure across it.",
            "It keeps the crest of the line voltage.",
            f"{_UNDER_50}; to discharge: {_DISCHARGE}",
            ask=Ask.READING,
            if_not="Discharge it again, and measure again.",
            may_not_apply=True,
            point="Motor capacitor, discharged",
            unit="V",
            at_most=SAFE_VOLTS,
        ),
        Line(
            "line-terminals",
            "Find where the motor’s terminals carry the line, and cover them.",
            "On many decks they lie bare beside the heads.",
            if_not="Put a sleeve or a board over them before power.",
        ),
        Line(
            "motor-earth",
            "Make sure that the motor’s frame is earthed with the chassis.",
            "Rubber mounts cut it off.",
            if_not="Run a flexible wire from the frame to the chassis.",
            may_not_apply=True,
        ),
        Line(
            "turns-free",
            "Turn it by hand: free, oiled, and nothing in its way.",
            "A motor that stalls gets hot enough to burn.",
            if_not="Clean and oil the bearings before it gets power.",
        ),
        Line(
            "cleaning",
            "Clean heads and wheels with power off, a window open, and no flame near.",
            "Spirits burn, and their vapour makes you dull.",
            if_not="Air the room first.",
        ),
    ),
)

_LAMP_OPTO: Final = Checklist(
    slug="lamp-opto",
    name="Lamp and light cell",
    said="Tremolo and limiters that work with a lamp and a light cell.",
    stage=Stage.HANDLING,
    applies=frozenset({Has.LAMP_OPTO}),
    lines=(
        Line(
            "which-volts",
            "Find out what feeds the lamp: a neon one often hangs on the high supply.",
            "A small lamp looks harmless at 200 V.",
            _UNDER_50,
            if_not="Treat it as the high supply until you measured it.",
        ),
        Line(
            "cold",
            "Let it cool, then take the lamp out with a cloth.",
            "A filament lamp burns skin, and thin glass breaks in the hand.",
            if_not="Wait a few minutes more.",
        ),
        Line(
            "cadmium",
            "Leave light cells whole: don’t grind, break or burn one.",
            "Older ones are made with cadmium.",
            if_not="Pick the pieces up with damp paper and gloves, bag them, and wash your hands.",
        ),
        Line(
            "waste",
            "Put old light cells with the waste that your place wants kept apart.",
            "Cadmium belongs in no bin.",
            _BY_CODE,
            if_not="Keep them in a labelled bag until you know where.",
        ),
    ),
)

_OLD_MATERIALS: Final = Checklist(
    slug="old-materials",
    name="Asbestos and beryllia",
    said="Linings and sheets of old cabinets, and white ceramic in some power devices.",
    stage=Stage.HANDLING,
    applies=frozenset({Has.OLD_MATERIALS}),
    lines=(
        Line(
            "suspect",
            "Treat grey or white board near heat as asbestos until somebody had it tested.",
            "Its fibres can’t be seen, and the harm comes decades later.",
            if_not="Leave it alone; ask what your place asks for a test.",
        ),
        Line(
            "leave-it",
            "Leave it where it is: don’t drill, scrape, blow, brush or vacuum it.",
            "Whole and still it does little; as dust it harms.",
            if_not="Leave the room, keep others out, and ask a licensed remover.",
        ),
        Line(
            "licensed",
            "Let only somebody who is licensed for it take it out.",
            "Taking it out is regulated nearly everywhere.",
            _BY_CODE,
            if_not="The job waits, or it goes home as it is.",
        ),
        Line(
            "ceramic",
            "Leave the white ceramic of power devices whole: no filing, no breaking, no heat above soldering.",
            "Dust of beryllia harms the lungs for good.",
            if_not="Don’t touch the pieces; keep others away, and ask your local authority.",
        ),
        Line(
            "told",
            "Write on the job what is in there, and tell its owner.",
            "The next one to open it has to know.",
            if_not="Write it down now.",
        ),
    ),
)

_MOULD: Final = Checklist(
    slug="mould",
    name="Mould",
    said="Gear that stood damp, and what lived in it.",
    stage=Stage.HANDLING,
    applies=frozenset({Has.MOULD}),
    lines=(
        Line(
            "apart",
            "Bag it, and keep it away from other gear and from where people eat.",
            "Spores spread through the shop.",
            if_not="Bag it now, and air the room.",
        ),
        Line(
            "mask",
            "Put on gloves, goggles and a mask for fine dust.",
            "Some people fall ill from it at once.",
            if_not="Fetch them; whoever has asthma leaves it to somebody else.",
        ),
        Line(
            "outdoors",
            "Clean it outdoors or under extraction, damp first, never by blowing.",
            "Blown dust is breathed by everybody.",
            if_not="Stop, and take it out of the room.",
        ),
        Line(
            "droppings",
            "Wet droppings and nests before you take them up, and bag them.",
            "Dry ones carry illness in their dust.",
            "Local health advice decides",
            if_not="Wet them first.",
            may_not_apply=True,
        ),
        Line(
            "dry",
            "Let it dry through before it gets power.",
            "Damp insulation leaks, and arcs.",
            if_not="Leave it somewhere warm for some days, and measure its insulation.",
        ),
        Line(
            "washed",
            "Bag the gloves and mask, and wash hands and face.",
            "What stays on you goes home with you.",
            if_not="Do it now.",
        ),
    ),
)

_LEAD_SOLDER: Final = Checklist(
    slug="lead-solder",
    name="Lead solder",
    said="Solder of old gear, and of most repairs on it.",
    stage=Stage.HANDLING,
    applies=frozenset({Has.LEAD_SOLDER}),
    lines=(
        Line(
            "fumes",
            "Switch the extraction on, or open a window and keep your head out of the smoke.",
            "The smoke is flux: it irritates, and may bring on asthma.",
            if_not="Solder somewhere with air.",
        ),
        Line(
            "eyes",
            "Put on goggles, and cut leads away from faces.",
            "Solder spits, and cut ends fly.",
            if_not="Fetch them first.",
        ),
        Line(
            "no-food",
            "Keep food, drink and tobacco off the bench.",
            "Lead gets in by the mouth.",
            if_not="Take it away, and wipe the bench down.",
        ),
        Line(
            "scraps",
            "Collect scraps and wick in a tin with a lid, and wipe the bench damp.",
            "Dust of lead stays for years.",
            _BY_CODE,
            if_not="Wipe up with damp paper, never with a brush.",
        ),
        Line(
            "hands",
            "Wash your hands with soap before you eat or go home.",
            "Children are harmed by very little lead.",
            if_not="Do it now.",
        ),
    ),
)

_AFTER_REPAIR: Final = Checklist(
    slug="after-repair",
    name="After-repair electrical test",
    said="Looked over, earth, insulation, leakage and function: in this order, before it goes home.",
    stage=Stage.AFTER_REPAIR,
    applies=_MAINS,
    lines=(
        Line(
            "looked-over",
            "Look it over closed up: cord, plug, strain relief, vents, feet, knobs and every screw in place.",
            "What can be seen is looked at before it is measured.",
            "EN 50678:2020, clause 5.2 (its number from memory)",
            if_not="Mend what you see; then go on.",
        ),
        Line(
            "fuse",
            "Read the fuse’s marking once more against the plate.",
            "A fuse from the bench must not go home in it.",
            if_not="Fit the one that the plate asks for.",
        ),
        Line(
            "tested",
            "Do the electrical test with its mains switch on, and keep the worksheet.",
            "Earth, insulation and leakage show what can’t be seen.",
            "EN 50678:2020, clauses 5.3 to 5.6 (their numbers from memory)",
            ask=Ask.SHEET,
            if_not="Mend what failed, and do the whole test again.",
            sheet="after-repair-test",
            fixed=True,
        ),
        Line(
            "works",
            "Try everything that was repaired, and everything that its owner complained of.",
            "The complaint is what it came for.",
            "EN 50678:2020: function comes last",
            if_not="It goes back to the bench.",
            fixed=True,
        ),
    ),
)

_AFTER_REPAIR_LOW: Final = Checklist(
    slug="after-repair-low",
    name="After-repair check",
    said="For gear without mains: cabinets, pedals, what runs from a battery or a plug pack.",
    stage=Stage.AFTER_REPAIR,
    applies=_NO_MAINS,
    lines=(
        Line(
            "no-mains",
            "Look at it from all sides: no mains cord, no mains inlet.",
            "What is fed from the mains needs the electrical test.",
            if_not="Write down how it is built: it gets the lists for gear with mains.",
            fixed=True,
        ),
        Line(
            "looked-over",
            "Look it over: no loose wire, no bare joint, every screw in place.",
            "What rattles loose comes back.",
            if_not="Mend what you see; then go on.",
        ),
        Line(
            "marked",
            "Make sure that its marking is right: ohms at each speaker socket, volts and polarity at each supply.",
            "A wrong marking breaks the next piece of gear.",
            if_not="Put a right label on it.",
            may_not_apply=True,
        ),
        Line(
            "works",
            "Try everything that was repaired, and everything that its owner complained of.",
            "The complaint is what it came for.",
            if_not="It goes back to the bench.",
            fixed=True,
        ),
    ),
)

_SOAK: Final = Checklist(
    slug="soak",
    name="Soak test",
    said="Two hours or more at work, with a reading at the start and one at the end.",
    stage=Stage.SOAK,
    applies=_MAINS,
    lines=(
        Line(
            "placed",
            "Stand it closed up, with air around it and its load on, where somebody sees and hears it.",
            "Faults by heat come when nobody looks; nothing soaks alone.",
            if_not="Move it, or do it another day.",
        ),
        Line(
            "start",
            "Read the supply when it has run for ten minutes.",
            "Cold readings still move.",
            ask=Ask.READING,
            if_not="Switch off; it goes back to the bench.",
            point="Supply, start of soak",
            unit="V",
            powered=True,
            fixed=True,
        ),
        Line(
            "played",
            "Play it or feed it a signal, at home levels and loud, and work every control.",
            "Idling hides what fails under load.",
            if_not="It goes back to the bench.",
        ),
        Line(
            "heat",
            "Feel for heat near the transformers without touching, and smell at the vents.",
            "What cooks slowly smells first.",
            if_not="Switch off, unplug it, and find what gets hot.",
        ),
        Line(
            "end",
            "Read the supply again at the end, at the same line voltage.",
            "A supply that drifts is still failing.",
            ask=Ask.READING,
            if_not="It goes back to the bench; compare the line voltage first.",
            point="Supply, end of soak",
            unit="V",
            powered=True,
            drift_of="start",
            drift=DRIFT,
            wait=SOAK,
            since="start",
            fixed=True,
        ),
        Line(
            "still-sound",
            "Listen at the end: no new hum, crackle or fading, and nothing smells.",
            "It should sound as it did at the start.",
            if_not="It goes back to the bench.",
        ),
        Line(
            "nothing-loose",
            "Unplug it, let it cool, and shake it gently: nothing loose, all tubes seated.",
            "It travels home in a van.",
            if_not="Open it by the list, and find it.",
        ),
    ),
)

_SOAK_LOW: Final = Checklist(
    slug="soak-low",
    name="Trying out",
    said="For gear without mains: some minutes of use before it goes home.",
    stage=Stage.SOAK,
    applies=_NO_MAINS,
    lines=(
        Line(
            "played",
            "Play it for ten minutes, at home levels and loud.",
            "A bad joint shows when it shakes.",
            if_not="It goes back to the bench.",
            wait=600,
            fixed=True,
        ),
        Line(
            "controls",
            "Work every control, switch and socket.",
            "What is worn fails when it is moved.",
            if_not="Clean or replace it, and try again.",
        ),
        Line(
            "nothing-loose",
            "Shake it gently: nothing loose.",
            "It travels home in a van.",
            if_not="Open it, and find it.",
        ),
    ),
)

_LISTS: Final = (
    _BEFORE_OPENING,
    _BEFORE_POWER,
    _FIRST_POWER,
    _LIVE,
    _EARTH,
    _LITHIUM,
    _LEAD_ACID,
    _CRT,
    _TAPE_MOTOR,
    _LAMP_OPTO,
    _OLD_MATERIALS,
    _MOULD,
    _LEAD_SOLDER,
    _AFTER_REPAIR,
    _AFTER_REPAIR_LOW,
    _SOAK,
    _SOAK_LOW,
)

OURS: Final = {each.slug: each for each in _LISTS}
