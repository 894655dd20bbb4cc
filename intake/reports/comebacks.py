"""What comes back: of the repairs collected in a time, how many came back, by the part of the circuit at fault.

A repair with findings in two parts of the circuit counts in both. What went home unrepaired is no repair. A repair
of last week may yet come back: the rate of the latest weeks is always too good.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal
from typing import NamedTuple

from django.db.models import Exists, OuterRef

from intake.models import Finding, Job
from intake.models.work import Circuit
from intake.reports import figures, picture
from intake.reports.sheet import Asked, Column, Kind, Sheet


class Repair(NamedTuple):
    """A repair that was collected, with the circuits it was in; `came_back` has the fault of each comeback."""

    circuits: frozenset[str]
    came_back: tuple[str, ...]  # "same", "another", "unclear"; empty while nobody said


@dataclass
class Rate:
    """How the repairs in one part of the circuit held."""

    circuit: str
    repairs: int = 0
    came_back: int = 0
    same: int = 0
    another: int = 0
    unclear: int = 0

    @property
    def percent(self) -> Decimal | None:
        """Repairs that came back, per cent of all."""
        return figures.percent(self.came_back, self.repairs)


def count(rate: Rate, repair: Repair) -> None:
    """Add a repair to a rate. It came back once, however often; the same fault weighs most."""
    rate.repairs += 1
    if not repair.came_back:
        return
    rate.came_back += 1
    if "same" in repair.came_back:
        rate.same += 1
    elif "another" in repair.came_back:
        rate.another += 1
    else:
        rate.unclear += 1


def by_circuit(repairs: Iterable[Repair]) -> tuple[list[Rate], Rate]:
    """Return the rate of each part of the circuit, and of all repairs. Pure."""
    rates = {circuit: Rate(circuit) for circuit in (*Circuit.values, "")}
    whole = Rate("all")
    for repair in repairs:
        count(whole, repair)
        for circuit in repair.circuits or {""}:
            count(rates[circuit], repair)
    return [rate for rate in rates.values() if rate.repairs], whole


def of(asked: Asked) -> Sheet:
    """The report, in three queries."""
    since, until = asked.bounds
    collected = Job.objects.filter(collected_at__gte=since, collected_at__lt=until, declined=False).order_by()
    among = {"job__collected_at__gte": since, "job__collected_at__lt": until, "job__declined": False}
    circuits: dict[int, set[str]] = {}
    for key, circuit in (
        Finding.objects.filter(struck_at__isnull=True, **among)
        .exclude(circuit="")
        .order_by()
        .values_list("job_id", "circuit")
    ):
        circuits.setdefault(key, set()).add(circuit)
    back: dict[int, list[str]] = {}
    for key, fault in (
        Job.objects.filter(Exists(collected.filter(pk=OuterRef("comeback_of_id"))), comeback_of__isnull=False)
        .order_by()
        .values_list("comeback_of_id", "comeback_fault")
    ):
        back.setdefault(key, []).append(fault)
    rates, whole = by_circuit(
        Repair(frozenset(circuits.get(key, ())), tuple(back.get(key, ())))
        for key in collected.values_list("pk", flat=True)
    )
    rows = [(_name(r.circuit), *_figures(r)) for r in rates]
    bars = [
        picture.Bar(_name(r.circuit), float(r.percent or 0), f"{r.percent} %, {r.came_back} of {r.repairs}")
        for r in rates
    ]
    return Sheet(
        columns=[
            Column("part of the circuit", "Part of the circuit"),
            Column("repairs collected", "Repairs", Kind.COUNT),
            Column("came back", "Came back", Kind.COUNT),
            Column("with the same fault", "Same fault", Kind.COUNT),
            Column("with another fault", "Another fault", Kind.COUNT),
            Column("not clear", "Not clear", Kind.COUNT),
            Column("came back, per cent", "Came back, of repairs", Kind.PERCENT),
        ],
        rows=rows,
        total=("All repairs", *_figures(whole)) if whole.repairs else None,
        picture=picture.lying(bars) if bars else None,
        pictured="How many per cent of the repairs in each part of the circuit came back",
        caption="Repairs that came back, per cent",
        figures=[
            ("Repairs collected", str(whole.repairs)),
            ("Came back", f"{whole.came_back}, {whole.percent} %"),
            ("With the same fault", str(whole.same)),
        ]
        if whole.repairs
        else [],
        notes=[
            "What was collected lately may yet come back.",
            "A repair in two parts of the circuit counts in both.",
        ],
        empty="No repair was collected in these days.",
    )


def _name(circuit: str) -> str:
    return Circuit(circuit).label if circuit else "Not said"


def _figures(of: Rate) -> tuple[int, int, int, int, int, Decimal | None]:
    return (of.repairs, of.came_back, of.same, of.another, of.unclear, of.percent)
