"""The lists that a shop starts with."""

from typing import Final

from calc.checklists.lines import Ask, Checklist, Has, Line, Stage

SAFE_VOLTS: Final = 50.0  # 29 CFR 1910.333(a)(1): under 50 V to ground need not be de-energised

_LISTS: Final = (
    Checklist(
        slug="before-power",
        name="Before power",
        said="Discharged, looked over, and nothing shorted, before it is plugged in.",
        stage=Stage.BEFORE_POWER,
        applies=frozenset({Has.MAINS}),
        lines=(
            Line("unplugged", "Unplug it. Keep the plug in sight.", fixed=True),
            Line(
                "discharged",
                "Discharge the capacitors, then measure across the first one.",
                ask=Ask.READING,
                point="Reservoir, discharged",
                unit="V",
                at_most=SAFE_VOLTS,
                fixed=True,
            ),
        ),
    ),
    Checklist(
        slug="after-repair",
        name="After-repair electrical test",
        said="Earth, insulation and leakage, before it goes home.",
        stage=Stage.AFTER_REPAIR,
        applies=frozenset({Has.MAINS}),
        lines=(
            Line("tested", "Do the electrical test.", ask=Ask.SHEET, sheet="after-repair-test", fixed=True),
        ),
    ),
    Checklist(
        slug="after-repair-low",
        name="After-repair check",
        said="For gear without mains.",
        stage=Stage.AFTER_REPAIR,
        applies=frozenset({Has.NO_MAINS}),
        lines=(Line("works", "Try everything that was repaired.", fixed=True),),
    ),
    Checklist(
        slug="soak",
        name="Soak test",
        said="Some hours at work, with readings at the start and at the end.",
        stage=Stage.SOAK,
        applies=frozenset({Has.MAINS}),
        lines=(
            Line(
                "start",
                "Read the supply after ten minutes.",
                ask=Ask.READING,
                point="Supply, start of soak",
                unit="V",
                powered=True,
                fixed=True,
            ),
            Line(
                "end",
                "Read the supply again.",
                ask=Ask.READING,
                point="Supply, end of soak",
                unit="V",
                powered=True,
                drift_of="start",
                drift=10.0,
                since="start",
                wait=2 * 3600,
                fixed=True,
            ),
        ),
    ),
    Checklist(
        slug="soak-low",
        name="Trying out",
        said="For gear without mains.",
        stage=Stage.SOAK,
        applies=frozenset({Has.NO_MAINS}),
        lines=(Line("played", "Play it, at home levels and loud.", wait=600, fixed=True),),
    ),
)

OURS: Final = {each.slug: each for each in _LISTS}
