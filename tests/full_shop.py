"""A shop in which every page has something true to show, and the addresses of its pages.

Made by the same verbs as a shop's own rows, so that papers, timelines and sums fit together. For the tests
that look at every page: its markup, its contrast, its size on a tablet.
"""

import datetime as dt
import io
from collections.abc import Iterator
from dataclasses import dataclass
from decimal import Decimal
from typing import Any
from urllib.parse import urlencode

from axes.models import AccessAttempt
from django.core.files.base import ContentFile
from django.test import Client
from django.urls import URLPattern, get_resolver, reverse
from django.utils import timezone
from PIL import Image, ImageDraw

from calc import meters, readings, safety, sheets
from calc.checklists import Stage
from calc.demo import IDLE, SUPPLY, TESTED
from calc.engine import capture
from calc.models import Meter
from calc.worksheets import all_sheets, by_slug
from intake import (
    billing,
    cashup,
    charges,
    counter_sale,
    credits,
    dropoff,
    estimating,
    keeping,
    labour,
    payments,
    pickup,
    work,
    workflow,
)
from intake.models import CashUp, Invoice, Job, LabourSpell, PadEntry, Payment, State, Visit
from intake.reports.catalogue import REPORTS
from shop.models import Shop, Staff, TaxRate, Terms
from shop.once import FIELD, new_key
from tests import full_lists, full_runs, full_safety, full_stock, safe
from tests.factories import (
    FindingFactory,
    GearFactory,
    JobFactory,
    NoteFactory,
    PersonFactory,
    SignatureFactory,
    StaffFactory,
    TaxRateFactory,
    TermsFactory,
)
from tests.full_stock import FullStock
from tests.intake.bills import charged, proposed, repaired, row
from tests.intake.storage import past_deadline, sent, waiting

BEFORE = "2501"  # the month of jobs that no drop-off took in
PAD_ANSWERS: dict[str, dict[str, Any]] = {
    "you": {"name": "Noor Haddad", "kind": "band", "group": "The Tin Lanterns"},
    "phones": {"phone_1": "555 0177", "phone_2": "555 0178"},
    "email": {"email": "noor@example.com"},
    "address": {"address": "12 Netmakers Row, Port Ansley"},
    "gear-1": {"kind": "combo", "maker": "Corvane", "model": "Harbor 22", "serial": "H-3319"},
    "complaint-1": {"complaint": "It crackles when the volume knob is turned."},
    "came-with-1": {"came_with": ["Footswitch", "Cover"], "came_with_more": "One spare fuse"},
    "history-1": {"happened": ["was_dropped"], "history_note": "Off the van, last week."},
    "more-1": {"more": "yes"},
    "gear-2": {"kind": "echo", "maker": "Oslin", "model": "Drifter", "serial": ""},
    "complaint-2": {"complaint": "The tape slips."},
    "came-with-2": {"came_with": [], "came_with_more": ""},
    "history-2": {"happened": [], "history_note": ""},
    "more-2": {"more": "no"},
    "when": {"wanted_by": ""},
    "cost": {"go_ahead": "limit", "spend_limit": "120"},
}


_WORKED_OUT = {"idle-current": IDLE, "supply": SUPPLY, "after-repair-test": TESTED}
_WRONG = (
    {**TESTED, "earth": "0.8"},
    {**TESTED, "earth": "0.29 ± 0.02", "works": ""},
    {**TESTED, "insulation": "lots", "cord": "0"},
    {"protection": "two-wire"},
)


TANK = {
    "input_ohms": "8",
    "output_ohms": "2250",
    "input_dc": "5M",
    "drive": "transformer",
    "volts": "12",
    "primary": "22k8",
    "secondary": "8",
    "recovery": "10k",
    "judge": "yes",
    "s_input_ohms": "10",
    "s_output_ohms": "2250",
    "input_ground": "now-isolated",
    "output_ground": "same",
    "plane": "unknown",
    "decay": "less",
    "size": "same",
}


def _recorded() -> list[dict[str, str]]:
    """The worksheet of power and level with a tone, with a sweep, and with what is no recording."""
    tone = capture.steady(capture.read_wav(capture.tone(1000, -10, 3, 48_000)), mains=60, played=True)
    sweep = capture.swept(capture.read_wav(capture.sweep(5, -10, 48_000)), sweep=5)
    texts = [capture.to_text(tone), capture.to_text(sweep), "nothing of the kind"]
    return [{"source": "recording", "capture": text, "told": "20 ± 1 %", "load": "8"} for text in texts]


def _filled(said: dict[str, str]) -> str:
    """The end of the address of a worksheet with something in its boxes."""
    return urlencode({"filled": "1", **said})


def patterns(of: Any = None) -> Iterator[URLPattern]:
    """Every address of the resolver."""
    for pattern in (of or get_resolver()).url_patterns:
        if isinstance(pattern, URLPattern):
            yield pattern
        else:
            yield from patterns(pattern)


def jpeg(words: str = "Chassis", size: tuple[int, int] = (640, 480)) -> bytes:
    """A photo as a camera might send it."""
    picture = Image.new("RGB", size, "#6b5b45")
    draw = ImageDraw.Draw(picture)
    draw.rectangle((40, 60, size[0] - 40, size[1] - 60), fill="#2f2a24", outline="#c9b48a", width=6)
    draw.text((70, 90), words, fill="#f0e6d2")
    out = io.BytesIO()
    picture.save(out, "JPEG", quality=70)
    return out.getvalue()


@dataclass(frozen=True)
class FullShop:
    """The rows that pages are asked for by."""

    owner: Staff
    bench: Staff
    counter: Staff
    here: Job  # on the bench, with everything that a job can have
    ready: Job  # invoiced, told, a deposit taken
    gone: Job  # collected, under warranty
    agreed: Job  # its estimate has a yes, and some of it is charged
    deciding: Job  # its second estimate has no answer yet
    as_is: Job
    tagged: Job
    waiting: PadEntry
    away: PadEntry
    mailed: Visit
    invoice: Invoice
    payment: Payment
    sale: Invoice  # over the counter; some of it credited and given back
    note: Invoice  # the credit note over that
    spell: LabourSpell
    left: Job  # left behind: its last letter came back, and the clock stood still once
    overdue: Job  # past its deadline, a notice due
    clear: Job  # left behind, and by its terms it may be let go
    sold: Job
    disputed: Job
    stock: FullStock

    def pages(self) -> dict[str, list[str]]:
        """The addresses of whole pages that staff may open, by the name of the address."""
        here, gone, ready = self.here, self.gone, self.ready
        job = {"claim": here.claim}
        before, after = here.sheets.standing().filter(slug="idle-current")
        finding, line = here.findings.first(), here.charges.to_invoice().first()
        asked: dict[str, list[tuple[dict[str, Any], str]]] = {
            "home": [({}, "")],
            "find": [({}, ""), ({}, "?q=corvane"), ({}, "?q=nobody+at+all"), ({}, f"?q={_slip(here.claim)}")],
            "reports": [({}, "")],
            "pattern": [({}, "")],
            "change-person": [({}, "")],
            "enter-again": [({}, "?next=/shop/")],
            "my-pin": [({}, "")],
            "shop-settings": [({}, "")],
            "taxes": [({}, "")],
            "tax-end": [({"pk": TaxRate.objects.get(valid_to=None).pk}, "")],
            "terms": [({}, "")],
            "terms-version": [({"version": 1}, "")],
            "staff": [({}, "")],
            "staff-new": [({}, "")],
            "staff-edit": [({"pk": self.bench.pk}, ""), ({"pk": self.owner.pk}, "")],
            "dropoff": [({}, ""), ({}, "?q=whitlow"), ({}, "?q=nobody+at+all")],
            "dropoff-done": [({"pk": here.visit_id}, ""), ({"pk": self.mailed.pk}, "")],
            "visit-signed": [({"pk": here.visit_id}, "")],
            "pad-entries": [({}, "")],
            "pad-entry": [
                ({"pk": self.waiting.pk}, ""),
                ({"pk": self.waiting.pk}, "?q=whitlow"),
                ({"pk": self.away.pk}, ""),
            ],
            "people": [({}, ""), ({}, "?page=2"), ({}, "?q=whitlow"), ({}, "?q=nobody+at+all")],
            "person-new": [({}, "")],
            "person": [({"pk": here.person_id}, "")],
            "person-edit": [({"pk": here.person_id}, "")],
            "gear": [({"pk": here.gear_id}, "")],
            "gear-edit": [({"pk": here.gear_id}, "")],
            "jobs": [({}, ""), ({}, "?page=2"), ({}, "?state=let-go"), ({}, "?state=ready")],
            **{report.url_name: [({}, "")] for report in REPORTS},
            "report-takings": [
                ({}, ""),
                ({}, "?span=twelve-months"),
                ({}, "?from=2026-11-20&until=2026-11-25"),
            ],
            "queue": [({}, "")],
            "my-timer": [({}, "")],
            "job": [({"claim": each.claim}, "") for each in self._jobs()],
            "job-timeline": [(job, ""), (job, "?page=2")],
            "job-edit": [(job, "")],
            "job-finding-edit": [({**job, "pk": finding.pk}, "")],
            "job-plain-findings": [(job, "")],
            "job-photos": [(job, "")],
            "job-labour-edit": [({**job, "pk": self.spell.pk}, "")],
            "job-charges": [(job, "")],
            "job-charge-agreed": [({"claim": each.claim}, "") for each in (self.agreed, here, self.tagged)],
            "job-charge-edit": [({**job, "pk": line.pk}, "")],
            "job-readings": [(job, "")],
            "worksheets": [({}, "")],
            "worksheet": [({"slug": sheet.slug}, "") for sheet in all_sheets()]
            + [({"slug": slug}, f"?{_filled(said)}") for slug, said in _WORKED_OUT.items()]
            + [({"slug": "after-repair-test"}, f"?{_filled(each)}") for each in _WRONG]
            + [({"slug": "power-and-level"}, f"?{_filled(each)}") for each in _recorded()]
            + [({"slug": "spring-tank"}, f"?{_filled(TANK)}")],
            "worksheet-answer": [({"slug": "idle-current"}, f"?{_filled(IDLE)}")],
            "tube-table": [({}, ""), ({}, "?q=gz34"), ({}, "?q=nothing")],
            "worksheet-ours": [({"slug": "after-repair-test"}, "")],
            "job-worksheets": [(job, ""), ({"claim": self.tagged.claim}, "")],
            "job-worksheet": [({**job, "slug": slug}, "") for slug in _WORKED_OUT],
            "job-worksheet-answer": [({**job, "slug": "supply"}, f"?{_filled(SUPPLY)}")],
            "job-worksheet-keep": [
                ({**job, "slug": slug}, f"?{_filled(s)}") for slug, s in _WORKED_OUT.items()
            ],
            "kept-worksheet": [({"pk": kept.pk}, "") for kept in here.sheets.filter(strikes=None)],
            "compare-worksheets": [({"pk": before.pk, "other": after.pk}, "")],
            "job-report": [(job, ""), (job, "?chosen=1"), ({"claim": self.tagged.claim}, "")],
            "job-unsafe": [({"claim": each.claim}, "") for each in (here, self.as_is, self.tagged, gone)],
            "meters": [({}, "")],
            "meter-new": [({}, "")],
            "meter-edit": [({"pk": pk}, "") for pk in Meter.objects.values_list("pk", flat=True)],
            "recording": [({}, ""), ({}, "?source=recording&load=8")],
            "job-recording": [(job, "")],
            "job-estimate": [(job, ""), ({"claim": self.deciding.claim}, "?from=estimate")],
            "estimate": [
                ({**job, "number": 1}, ""),
                ({"claim": self.deciding.claim, "number": 1}, ""),
                ({"claim": self.deciding.claim, "number": 2}, ""),
            ],
            "job-estimates": [({"claim": each.claim}, "") for each in (self.deciding, here, self.tagged)],
            "calls": [({}, "")],
            "job-invoice": [(job, ""), (job, "?fee=charge"), ({"claim": gone.claim}, "")],
            "invoice": [
                ({"label": each.label}, "")
                for each in (
                    *(self.invoice, self.sale, self.note),
                    *(sold.sale_line.invoice for sold in self.stock.sold),
                )
            ],
            "invoice-credit": [({"label": each.label}, "") for each in (self.invoice, self.sale)],
            "invoice-payment": [({"label": self.sale.label}, "")],
            "invoice-refund": [({"label": self.sale.label}, "")],
            "invoice-write-off": [({"label": self.sale.label}, "")],
            "counter-sale": [
                ({}, ""),
                ({}, f"?person={here.person_id}"),
                ({}, f"?good=part:{self.stock.capacitor.pk}"),
            ],
            "job-payment": [(job, ""), ({"claim": ready.claim}, "")],
            "job-refund": [(job, ""), ({"claim": ready.claim}, "")],
            "job-write-off": [({"claim": ready.claim}, ""), ({"claim": gone.claim}, "")],
            "payment": [({"pk": each.pk}, "") for each in (self.payment, *self.sale.payments.all())],
            "cash-up": [({}, ""), ({}, "?day=2026-01-15")],
            "cash-up-day": [({"pk": pk}, "") for pk in CashUp.objects.values_list("pk", flat=True)],
            "job-ready-notice": [({"claim": ready.claim}, ""), (job, "")],
            "take-home-as-is": [(job, ""), ({"claim": gone.claim}, "")],
            "job-pickup": [({"claim": each.claim}, "") for each in (ready, here, self.as_is)],
            "storage": [({}, "")],
            "storage-letters": [
                ({}, ""),
                ({}, f"?job={self.left.pk}"),
                ({}, f"?job={self.overdue.pk}&job={ready.pk}"),
            ],
            "storage-notice-back": [({"pk": notice.pk}, "") for notice in self.left.storage_notices.all()],
            "job-storage": [({"claim": each.claim}, "") for each in (here, ready, *self._stored())],
            "job-dispute": [({"claim": each.claim}, "") for each in (self.overdue, self.disputed, self.sold)],
            "job-dispute-settled": [({"claim": each.claim}, "") for each in (self.overdue, self.disputed)],
            "job-let-go": [({"claim": each.claim}, "") for each in (ready, *self._stored())],
            "pickup-done": [({"claim": gone.claim}, "")],
        }
        return (
            {
                name: [reverse(name, kwargs=kwargs) + query for kwargs, query in each]
                for name, each in asked.items()
            }
            | self.stock.pages()
            | full_safety.pages(here)
            | full_lists.pages()
            | full_runs.pages(here, self.tagged)
        )

    def papers(self) -> dict[str, list[str]]:
        """The papers, as pages to print."""
        job, visit = {"claim": self.here.claim}, self.here.visit_id
        asked: dict[str, list[dict[str, Any]]] = {
            "ticket-paper": [{"pk": visit, "size": size} for size in ("half", "receipt")],
            "visit-tags-paper": [{"pk": visit, "size": size} for size in ("roll", "card")],
            "tags-paper": [{**job, "size": size} for size in ("roll", "card")],
            "worksheets-paper": [job, {"claim": self.tagged.claim}],
            "job-report-paper": [
                {"claim": each.claim, "kind": kind}
                for each in (self.here, self.tagged, self.as_is)
                for kind in ("plain", "full")
            ],
            "unsafe-tag-paper": [{"claim": self.as_is.claim, "size": size} for size in ("roll", "card")],
            "estimate-paper": [{**job, "number": 1}],
            "estimates-paper": [{"claim": self.deciding.claim}],
            "calls-paper": [{}],
            "invoice-paper": [{"label": each.label} for each in (self.invoice, self.sale, self.note)],
            "receipt-paper": [{"pk": each.pk} for each in (self.payment, *self.sale.payments.all())],
            "cash-up-paper": [{"pk": CashUp.objects.first().pk}],
            "pickup-paper": [{"claim": self.gone.claim}],
            "storage-notice-paper": [{"pk": self.left.storage_notices.first().pk}],
            "storage-record": [{"claim": each.claim} for each in self._stored()],
        }
        return (
            {
                name: [f"{reverse(name, kwargs=kwargs)}?view=html" for kwargs in each]
                for name, each in asked.items()
            }
            | self.stock.papers()
            | full_safety.papers()
            | full_lists.papers()
        )

    def refused(self) -> list[tuple[str, dict[str, Any]]]:
        """Addresses, with what is sent to them in vain: every form, to be shown again with its messages."""
        job = {"claim": self.here.claim}
        at = {"revision": str(self.here.revision)}

        def to(name: str, **kwargs: Any) -> str:
            return reverse(name, kwargs=kwargs)

        return [
            (to("dropoff"), {"pieces": "1", "how": "counter"}),
            (to("dropoff"), {"pieces": "2", "how": "mail"}),
            (to("pad-entry", pk=self.waiting.pk), {}),
            (to("person-new"), {}),
            (to("person-edit", pk=self.here.person_id), {}),
            (to("gear-edit", pk=self.here.gear_id), {"kind": "spoon"}),
            (to("shop-settings"), {}),
            (to("taxes"), {}),
            (to("terms"), {}),
            (to("staff-new"), {}),
            (to("staff-edit", pk=self.bench.pk), {}),
            (to("my-pin"), {}),
            (to("my-password"), {}),
            (to("change-person"), {}),
            (to("job-edit", **job), {**at, "diagnosis_fee": "a lot"}),
            (to("job-note", **job), {}),
            (to("job-finding", **job), {}),
            (to("job-photos", **job), {}),
            (to("job-labour", **job), {}),
            (to("job-charge", **job), {}),
            (to("job-charge-agreed", claim=self.agreed.claim), {}),
            (
                to("job-charge-agreed", claim=self.agreed.claim),
                {"seen": charges.left_of_agreed(self.agreed).mark},
            ),
            (to("job-reading", **job), {"written": "a lot"}),
            (to("job-reading", claim=self.deciding.claim), _LIVE),
            (to("job-worksheet-keep", claim=self.deciding.claim, slug="supply"), {**SUPPLY, **_LIVE_SHEET}),
            (to("job-unsafe-judge", **job), {}),
            (to("job-unsafe-take-back", claim=self.as_is.claim), {}),
            (to("job-worksheet-keep", **job, slug="idle-current"), {**IDLE, "when": "never"}),
            (to("job-worksheet-keep", **job, slug="supply"), {**SUPPLY, "volts": "lots"}),
            (to("worksheet-ours", slug="after-repair-test"), {"limit_earth": "lots"}),
            (to("meter-new"), {"percent-V": "a lot", "always-F": "22"}),
            (to("meter-edit", pk=Meter.objects.first().pk), {"name": "", "due_on": "1900-01-01"}),
            (to("recording"), {"what": "a song", "load": "8"}),
            (to("job-recording", **job), {}),
            (to("job-move", **job), {"to": State.READY, "seen": self.here.state, **at}),
            (to("job-estimate", **job), {"rows-TOTAL_FORMS": "1", "rows-INITIAL_FORMS": "0"}),
            (to("estimate-answer", claim=self.deciding.claim, number=2), {}),
            (to("job-invoice", **job), {"seen": "old"}),
            (to("cash-up"), {"value-0": "a lot", "many-0": "-1", "many-1": "3"}),
            (to("cash-up"), {"counted": "0.01"}),
            (to("job-payment", **job), {"amount": "-1"}),
            (to("job-refund", claim=self.gone.claim), {"amount": "-1"}),
            (to("job-write-off", claim=self.ready.claim), {"amount": "a lot"}),
            (to("invoice-credit", label=self.invoice.label), {}),
            (to("counter-sale"), {"rows-TOTAL_FORMS": "1", "rows-INITIAL_FORMS": "0", "do": "sum"}),
            (to("counter-sale"), {**_FUSE, "do": "sell"}),
            (to("counter-sale"), {**_FUSE, "do": "sell", "seen": "1", "method": "cash"}),
            (to("job-ready-notice", claim=self.ready.claim), {}),
            (to("take-home-as-is", **job), {}),
            (to("job-pickup", claim=self.ready.claim), {}),
            (to("storage-letters"), {"job": [self.left.pk, self.overdue.pk], "sent_on": "1900-01-01"}),
            (to("storage-letters-paper"), {"job": self.overdue.pk}),
            (to("storage-notice-back", pk=self.left.storage_notices.first().pk), {"on": "1900-01-01"}),
            (to("job-storage-pause", claim=self.left.claim), {}),
            (to("job-storage-resume", claim=self.overdue.claim), {"ended": "1900-01-01"}),
            (to("job-dispute", claim=self.overdue.claim), {"began": "1900-01-01"}),
            (to("job-dispute-settled", claim=self.disputed.claim), {"agreed": "Half."}),
            (to("job-left-behind", claim=self.overdue.claim), {"revision": "1"}),
            (to("job-let-go", claim=self.clear.claim), {"became": "sold"}),
            *self.stock.refused(),
            *full_safety.refused(),
            *full_lists.refused(),
            *full_runs.refused(self.here),
        ]

    def hand_over(self, tablet: Client) -> list[tuple[str, dict[str, Any] | None]]:
        """Give a tablet of staff to the owner of what was estimated: all that it opens then.

        Addresses, with what is sent to them: None where they are only looked at.
        """
        estimate = {"claim": self.deciding.claim, "number": 2}
        handed = tablet.post(reverse("estimate-hand-over", kwargs=estimate), {FIELD: new_key()})
        sign, leave = reverse("estimate-sign", kwargs=estimate), reverse("pad-leave")
        assert handed["Location"] == sign
        return [(sign, None), (sign, {"who": ""}), (leave, None), (leave, {"pin": "0000"})]

    def _stored(self) -> list[Job]:
        return [self.left, self.overdue, self.clear, self.sold, self.disputed]

    def _jobs(self) -> list[Job]:
        return [self.here, self.ready, self.gone, self.deciding, self.as_is, self.tagged, *self._stored()]


_LIVE = {"point": "Plate", "written": "448", "unit": "V", "when": "before", "meter": "Meter 2"}
_LIVE_SHEET = {"measured": "448", "when": "before"}
_FUSE = {
    "rows-TOTAL_FORMS": "1",
    "rows-INITIAL_FORMS": "0",
    "rows-0-kind": "part",
    "rows-0-text": "Fuse 1 A",
    "rows-0-quantity": "1",
    "rows-0-unit_price": "0.40",
}


def _slip(claim: str) -> str:
    """A claim number with its last digit but one mistyped."""
    wrong = "1" if claim[8] != "1" else "2"
    return claim[:8] + wrong + claim[9:]


def build(owner: Staff, bench: Staff, counter: Staff) -> FullShop:
    """Fill the shop. Takes less than a second."""
    now, today = timezone.now(), timezone.localdate()
    Shop.objects.update(ask_address=True)  # one more screen on the pad
    terms = TermsFactory(version=2, text="What we find we tell you.\n\nWhat we agree on we do.")
    TaxRateFactory(name="Old tax", percent=Decimal("6"), valid_to=today)
    StaffFactory(name="Pell Ostrow", sign_in="pell", role="bench", is_active=False)
    AccessAttempt.objects.create(
        username=counter.sign_in, ip_address="127.0.0.1", failures_since_start=5, attempt_time=now
    )

    dana = PersonFactory(
        name="Dana Whitlow", email="dana@example.com", address="9 Ropewalk\nPort Ansley", note="Pays in cash."
    )
    dana.phones.create(number="555 0142")
    dana.phones.create(number="555 0143", label="at work", position=1)
    meridian = GearFactory(owner=dana, year_guess="about 1974", marks="A burn mark on the lid")

    gone = _through_the_house(meridian, terms, owner, days=40)
    visit = _brought(
        dana,
        terms,
        counter,
        dropoff.Brought(
            gear=meridian,
            complaint="It hums, and it cuts out when it is warm.\nWorse in the evening.",
            came_with=("Power cord", "Footswitch", "Cover"),
            was_dropped=True,
            smelled=True,
            history_note="Fell off a stage in May.",
            condition="A scratch on the left side.",
            wanted_by=today + dt.timedelta(days=2),
            diagnosis_fee=Decimal(45),
            spend_limit=Decimal(150),
            comeback_of=gone,
        ),
        dropoff.Brought(kind="cabinet", maker="Hollin", model="212", complaint="One speaker rattles."),
    )
    here, tagged = visit.jobs.order_by("pk")
    here = workflow.move(here, to=State.ON_THE_BENCH, by=bench, revision=here.revision)
    _work_on(here, bench, counter)

    ready = _ready_for_days(terms, owner, days=45)
    deciding = JobFactory(
        month=BEFORE, visit__taken_in_by=counter, state=State.ON_THE_BENCH, gear__kind="keyboard"
    )
    proposed(deciding, bench)
    proposed(deciding, bench, row(), row("part", "Belt", "2", "4.50"), row("discount", "Regular", "1", "5"))
    workflow.move(deciding, to=State.OWNER_TO_DECIDE, by=bench, revision=deciding.revision)
    agreed = JobFactory(
        month=BEFORE, visit__taken_in_by=counter, state=State.ON_THE_BENCH, gear__kind="effect"
    )
    yes = proposed(
        agreed, bench, row(), row("part", "Belt", "2", "4.50"), row("discount", "Regular", "1", "5")
    )
    estimating.answer(yes, yes=True, how="phone", who="Piet Harrow", by=counter)
    charged(agreed, "part", "Belt", "4.50", by=bench)
    charged(agreed, "fee", "Rush", "20", by=bench)
    as_is = JobFactory(month=BEFORE, visit__taken_in_by=counter, diagnosis_fee=Decimal(45), gear__kind="echo")
    billing.take_home_as_is(as_is, by=counter, revision=as_is.revision, reason="Too dear for the owner.")
    safety.judge_unsafe(as_is, words="Its metal can become live. Two wires, and no mark.", by=bench)
    safety.print_unsafe_tag(as_is, by=counter)
    for state in (State.PARTS_ON_ORDER, State.IN_LINE, State.SOAK_TEST, State.LEFT_BEHIND, State.LET_GO):
        JobFactory(
            month=BEFORE, state=state, visit__taken_in_by=counter, wanted_by=today + dt.timedelta(days=10)
        )
    for n in range(60):  # so that lists have a second page
        JobFactory(
            month=BEFORE,
            state=State.COLLECTED,
            ready_at=now - dt.timedelta(days=n),
            visit__taken_in_by=counter,
        )

    for pieces, note in (({Decimal(20): 3, Decimal("0.25"): 7}, "Change was short."), ({}, "Counted again.")):
        counted = cashup.total_of(pieces) or Decimal("4")
        cashup.count(day=today, counted=counted, pieces=pieces, note=note, by=counter)

    mailed = dropoff.take_in(
        who=dropoff.Who(name="Port Ansley High School", kind="school", contact="Ms Teague"),
        brought=[dropoff.Brought(kind="keyboard", maker="Kestrel", model="73", complaint="Two dead keys.")],
        by=counter,
        terms=terms,
        parcel=dropoff.Parcel(carrier="Harbor Parcels", number="HP 1190", condition="A dent in one corner."),
    )
    waiting = _on_the_pad(terms, "Noor Haddad")
    away = _on_the_pad(terms, "Noor Hadad")
    dropoff.put_away(away, by=counter)
    sale, note = _sold_over_the_counter(counter)
    kept = past_deadline(owner, 130, terms=terms, month=BEFORE)
    waits = Job.objects.standing(State.PARTS_ON_ORDER).first()
    full_safety.build(here, ready, owner=owner, bench=bench)
    full_runs.build(here, owner=owner, bench=bench)
    full_lists.build(owner)
    stock = full_stock.build(here, kept, waits, owner)
    here.refresh_from_db()
    return FullShop(
        owner=owner,
        bench=bench,
        counter=counter,
        here=here,
        ready=ready,
        gone=gone,
        agreed=agreed,
        deciding=deciding,
        as_is=as_is,
        tagged=tagged,
        waiting=waiting,
        away=away,
        mailed=mailed,
        invoice=ready.invoices.first(),
        payment=gone.payments.first(),
        sale=sale,
        note=note,
        spell=here.labour.filter(ended__isnull=False).first(),
        **_not_collected(terms, owner),
        stock=stock,
    )


def _sold_over_the_counter(by: Staff) -> tuple[Invoice, Invoice]:
    """Three tubes, of which one came back, and half of its price was given back."""
    lines = [
        billing.Row("part", "12AX7", Decimal(3), Decimal("14.90"), unit_cost=Decimal("9.10")),
        billing.Row("discount", "Regular", Decimal(1), Decimal(0), percent=Decimal(10)),
    ]
    sale, _ = counter_sale.sell(lines, method="cash", tendered=Decimal(50), by=by)
    note = credits.credit(
        sale, taken={sale.lines.first().pk: Decimal(1)}, reason="One was microphonic.", by=by
    )
    payments.give_back(sale, amount=Decimal(5), method="cash", reason="On account of one tube.", by=by)
    return sale, note


def _brought(person: Any, terms: Terms, by: Staff, *brought: dropoff.Brought) -> Visit:
    return dropoff.take_in(
        who=dropoff.Who(person=person),
        brought=brought,
        by=by,
        terms=terms,
        signature=SignatureFactory(
            name=person.name, words="The shop's terms.", words_version="terms, version 2"
        ),
    )


def _through_the_house(gear: Any, terms: Terms, by: Staff, *, days: int) -> Job:
    """A repair that went home again."""
    brought = dropoff.Brought(
        gear=gear, complaint="No sound at all.", came_with=("Footswitch", "Cover"), spend_limit=Decimal(300)
    )
    job = _brought(gear.owner, terms, by, brought).jobs.get()
    FindingFactory(job=job, by=by, fault="Output valve dead", cause="Age", cure="New matched pair")
    repaired(job, by)
    job = _to_ready(job, by)
    invoice = billing.issue_invoice(job, by=by, words="New output valves, biased and tested.")
    payments.take(job, amount=invoice.gross, method="cash", tendered=Decimal(300), by=by)
    footswitch, cover = job.pieces.all()
    pickup.hand_back(
        job,
        by=by,
        revision=job.revision,
        handed_to="Dana Whitlow",
        gear_went=True,
        went=[footswitch.pk],
        stayed={cover.pk: "Thrown away: it was torn."},
        svg=SignatureFactory.svg,
    )
    then = timezone.now() - dt.timedelta(days=days)
    Job.objects.filter(pk=job.pk).update(since=then, ready_at=then, collected_at=then)
    job.refresh_from_db()
    return job


def _to_ready(job: Job, by: Staff) -> Job:
    for state in (State.ON_THE_BENCH, State.SOAK_TEST):
        job = workflow.move(job, to=state, by=by, revision=job.revision)
    safe.passed(job, by)
    readings.take(job, point="Plate, V4", written="448", unit="V", when="after", powered=True, by=by)
    return workflow.move(job, to=State.READY, by=by, revision=job.revision)


def _ready_for_days(terms: Terms, by: Staff, *, days: int) -> Job:
    """Ready, with something still to pay, and here for too long."""
    person = PersonFactory(name="The Quiet Cranes", kind="band")
    person.phones.create(number="555 0166", label="Iris")
    brought = dropoff.Brought(
        kind="combo",
        maker="Corvane",
        model="Harbor 22",
        complaint="It crackles.",
        came_with=("Cover",),
        spend_limit=Decimal(300),
    )
    job = _brought(person, terms, by, brought).jobs.get()
    payments.take(job, amount=Decimal(40), method="card", by=by, deposit=True, note="Deposit")
    repaired(job, by)
    job = _to_ready(job, by)
    billing.issue_invoice(job, by=by, words="New filter capacitors.")
    pickup.tell(job, how="phone", words="Iris, she comes on Friday", by=by)
    then = timezone.now() - dt.timedelta(days=days)
    Job.objects.filter(pk=job.pk).update(ready_at=then, state_since=then)
    job.refresh_from_db()
    return job


def _not_collected(terms: Terms, by: Staff) -> dict[str, Job]:
    """Gear that nobody collects, at five places of its way."""
    left, clear, sold, disputed = (past_deadline(by, 130, terms=terms, month=BEFORE) for _ in range(4))
    overdue = waiting(by, 100, terms=terms, month=BEFORE)
    for job in (left, clear, sold):
        keeping.leave_behind(job, by=by, revision=job.revision)
        job.refresh_from_db()
    keeping.pause(left, why="shop", words="We moved the shop.", by=by)
    keeping.resume(left, by=by)
    keeping.came_back(sent(left, 100, by, tracking="HP 1201"), on=timezone.localdate(), words="Moved", by=by)
    fate = keeping.Fate(
        became="sold", words="Nobody answered.", to_whom="The reuse shop", price=Decimal(300), method="cash"
    )
    keeping.let_go(sold, fate, by=by, revision=sold.revision)
    keeping.open_dispute(
        disputed, who="Dana Whitlow", words="Says that it is paid.", by=by, revision=disputed.revision
    )
    return {"left": left, "overdue": overdue, "clear": clear, "sold": sold, "disputed": disputed}


def _work_on(job: Job, bench: Staff, counter: Staff) -> None:
    """Everything that a job can have."""
    work.find_fault(
        job,
        fault="First filter capacitor open",
        cause="Age and heat",
        cure="All filter capacitors new",
        by=bench,
    )
    work.strike(FindingFactory(job=job, by=bench, fault="Output transformer?"), by=bench)
    work.say_plainly(job, words="The power supply was worn out.", by=bench, revision=job.revision)
    job.refresh_from_db()
    for text in ("Reservoir capacitor bulges.", "The owner called: no hurry.\nBut before the tour."):
        NoteFactory(job=job, by=counter, text=text)
    safe.passed(job, bench, Stage.BEFORE_POWER)
    live = {"point": "Plate, V4", "unit": "V", "powered": True, "meter": "Meter 2"}
    for when, value in (("before", "462"), ("after", "448 ± 2")):
        readings.take(job, written=value, when=when, by=bench, **live)
    wrong = readings.take(job, point="Bias", written="45 mV", unit="V", when="before", by=bench, note="Slip")
    readings.strike(wrong, by=bench)
    _work_out(job, bench)
    for words in ("Chassis from below", "The bulging capacitor"):
        work.photograph(job, file=ContentFile(jpeg(words), "photo.jpg"), caption=words, by=bench)
    work.strike(
        work.photograph(job, file=ContentFile(jpeg("Thumb"), "photo.jpg"), caption="Thumb", by=bench),
        by=bench,
    )
    first = labour.write_down(job, minutes=75, words="Filter capacitors", by=bench)
    charges.charge_labour(first, hours=Decimal("1.25"), by=bench)
    labour.write_down(job, minutes=20, words="Cleaned the sockets", by=bench)
    labour.strike(labour.write_down(job, minutes=800, words="Slip", by=bench), by=bench)
    labour.start(job, by=bench)
    charged(job, "part", "Capacitor 22 µF 450 V", "6.50", "2", by=bench)
    charged(job, "discount", "Regular", "5", by=counter)
    charges.strike(charged(job, "fee", "Rush", "20", by=counter), by=counter)
    estimate = proposed(
        job, bench, row("labour", "Filter capacitors", "2"), row("part", "Capacitors", "1", "48")
    )
    estimating.answer(
        estimate, yes=True, how="phone", who="Dana Whitlow", words="Do it, but not above that.", by=counter
    )


def _work_out(job: Job, bench: Staff) -> None:
    """Worksheets of a job, one of them before and after, one struck out; a meter in use, one out of use."""
    today, known = timezone.localdate(), {"V": (0.5, 0.0003), "ohm": (5.0, 0.01)}
    due = today - dt.timedelta(days=1)
    meter = meters.add(name="Bench meter 1", calibrated_on=None, due_on=due, accuracies=known, by=bench)
    other = meters.add(name="Lost meter", calibrated_on=None, due_on=None, accuracies={}, by=bench)
    meters.put_away(other, by=bench)
    for slug, when, said in (
        ("idle-current", "before", {**IDLE, "tube-1-sense": "64", "tube-2-sense": "31"}),
        ("idle-current", "after", IDLE),
        ("supply", "after", SUPPLY),
        ("after-repair-test", "after", {**TESTED, "earth": "0.29"}),
    ):
        sheets.keep(job, sheet=by_slug(slug), said=said, when=when, by=bench, meter=meter, note="Warm")
    wrong = sheets.keep(job, sheet=by_slug("supply"), said=SUPPLY, when="before", by=bench)
    sheets.strike(wrong, by=bench)


def _on_the_pad(terms: Terms, name: str) -> PadEntry:
    given = PAD_ANSWERS
    answers = {
        "name": name,
        "kind": "band",
        "group": given["you"]["group"],
        "phones": ["555 0142"],
        "email": "noor@example.com",
        "address": "",
        "gear": [
            {
                **given[f"gear-{n}"],
                "complaint": given[f"complaint-{n}"]["complaint"],
                "came_with": given[f"came-with-{n}"]["came_with"],
                **given[f"history-{n}"],
            }
            for n in (1, 2)
        ],
        "wanted_by": (timezone.localdate() + dt.timedelta(days=5)).isoformat(),
        "spend_limit": "120.00",
        "diagnosis_fee": "45.00",
    }
    drawing = SignatureFactory.svg
    return dropoff.sign_on_pad(
        answers=answers, drawing=drawing, terms=terms, shop=Shop.current(), device="A tablet"
    )


def walk_the_pad(pad: Client) -> list[str]:
    """Answer every question up to the signature. Return the screens' addresses, with the words above them."""
    asked = [reverse("pad"), reverse("pad-leave"), reverse("pad-done")]
    screens = []
    for step, answer in {**PAD_ANSWERS, "terms": {"version": Terms.current().version}}.items():
        address = reverse("pad-step", kwargs={"step": step})
        sent = pad.post(address, {FIELD: new_key(), **answer})
        assert sent.status_code == 302, f"{step}: {sent.status_code}"
        screens.append(address)
    return [*asked, *screens, reverse("pad-step", kwargs={"step": "sign"})]


def refused_on_the_pad() -> list[tuple[str, dict[str, Any]]]:
    """What is sent in vain to the pad's screens, which must have been walked."""
    steps = [reverse("pad-step", kwargs={"step": step}) for step in [*PAD_ANSWERS, "terms", "sign"]]
    wrong = {
        "phone_1": "1",
        "email": "nobody",
        "address": "9" * 500,
        "came_with": "a spoon",
        "happened": "much",
    }
    wrong |= {"wanted_by": "2020-01-01", "go_ahead": "limit", "spend_limit": "a lot"}
    return [(step, wrong) for step in steps] + [(reverse("pad-leave"), {"pin": "0000"})]
