"""What the safety pages of the full shop are about, and the addresses of these pages."""

import datetime as dt
from typing import Any

from django.urls import reverse
from django.utils import timezone

from calc import caution_words, emergency, near_misses
from calc.models import ListChange, NearMiss, SafetyWord, Waiver
from intake.models import Job
from shop.models import Staff
from tests.factories import MeterFactory, ReadingFactory

CARD = {
    "ambulance": "112",
    "fire": "112",
    "poison": "+1 555 0199",
    "doctor": "Port Ansley Hospital, 555 0110",
    "call_here": "Wren at home, 555 0101",
    "address": "3 Lantern Quay, Port Ansley. The red door at the back, bell marked “Workshop”.",
    "switch": "Grey box left of the bench door",
    "extinguisher": "Carbon dioxide, under the window",
    "first_aid": "On the shelf over the sink",
    "trained": "Tomas, Wren",
}
OLD = "It sparked when the clip slipped off the first capacitor."


def build(job: Job, other: Job, *, owner: Staff, bench: Staff) -> None:
    """Write on the card and to a caution; what failed, was waived, was nearly an accident. `job` isn't touched."""
    today = timezone.localdate()
    emergency.change(seen=0, by=owner, **CARD)
    caution_words.write("live-gear", words="Never alone in the shop: Tomas or Wren is in the room.", by=owner)
    old = near_misses.write_down(on=today, what=OLD, job=job, by=bench)
    near_misses.write_down(
        on=today,
        what=f"{OLD} Nobody was hurt; the probe is burnt.",
        done="Clips with a spring, and the supply off before one is moved.",
        by=owner,
        corrects=old,
    )
    near_misses.write_down(
        on=today - dt.timedelta(days=400), what="A cover was left off over lunch.", by=bench
    )
    Waiver.objects.create(job=other, slug="soak", words="It is played tonight; its owner knows.", by=owner)
    ListChange.objects.create(job=other, slug="live", applies=False, words="Nothing was live.", by=owner)
    SafetyWord.objects.create(job=other, unsafe=True, words="Its chassis is live.", by=bench)
    SafetyWord.objects.create(job=other, unsafe=False, words="A new cord, and the test passed.", by=owner)
    late = MeterFactory(name="Old bench meter", due_on=today - dt.timedelta(days=20))
    ReadingFactory(job=other, by=bench, meter=late.name, with_meter=late, meter_due_on=late.due_on)


def pages(job: Job) -> dict[str, list[str]]:
    """The addresses of the pages, by the name of the address."""
    holds = near_misses.holding().first()
    misses = NearMiss.objects.values_list("pk", flat=True)
    asked: dict[str, list[tuple[dict[str, Any], str]]] = {
        "safety": [({}, "")],
        "emergency": [({}, "")],
        "emergency-edit": [({}, "")],
        "cautions": [({}, "")],
        "caution-edit": [({"slug": "live-gear"}, ""), ({"slug": "meters"}, "")],
        "near-misses": [({}, "")],
        "near-miss-new": [({}, ""), ({}, f"?job={job.claim}")],
        "near-miss": [({"pk": pk}, "") for pk in misses],
        "near-miss-correct": [({"pk": holds.pk}, "")],
        "safety-year": [({}, ""), ({}, f"?year={timezone.localdate().year - 1}")],
    }
    return {
        name: [reverse(name, kwargs=kwargs) + query for kwargs, query in each] for name, each in asked.items()
    }


def papers() -> dict[str, list[str]]:
    """The papers, as pages to print."""
    return {"emergency-paper": [f"{reverse('emergency-paper')}?view=html"]}


def refused() -> list[tuple[str, dict[str, Any]]]:
    """Addresses, with what is sent to them in vain."""
    corrected = NearMiss.objects.filter(corrected_by__isnull=False).first()
    today = timezone.localdate().isoformat()
    return [
        (reverse("emergency-edit"), {**CARD, "ambulance": "ring them", "revision": "1"}),
        (reverse("emergency-edit"), {**CARD, "ambulance": "911", "revision": "0", "opened_with": "{}"}),
        (reverse("caution-edit", args=["live-gear"]), {"words": "x" * 301, "opened_with": "{}"}),
        (reverse("near-miss-new"), {"on": "", "done": "We label it."}),
        (reverse("near-miss-correct", args=[corrected.pk]), {"on": today, "what": "Mine."}),
    ]
