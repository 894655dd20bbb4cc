"""Rows for tests, in the words of the trade. Invented people and makers only."""

import datetime as dt
from decimal import Decimal

import factory
from django.utils import timezone
from factory.django import DjangoModelFactory

from calc.engine import VERSION
from calc.models import Accuracy, KeptSheet, ListLine, ListRun, ListVersion, Meter, Reading
from intake import claims
from intake.models import (
    Charge,
    Finding,
    Gear,
    Job,
    LoosePiece,
    Note,
    Person,
    Phone,
    Signature,
    State,
    Visit,
)
from shop.models import Shop, Staff, TaxRate, Terms
from shop.roles import Role


class ShopFactory(DjangoModelFactory):
    class Meta:
        model = Shop
        django_get_or_create = ("id",)

    id = 1
    name = "Lantern Quay Electronics"
    address = "4 Ropewalk\nPort Ansley"
    phone = "555 0100"
    currency = "USD"
    time_zone = "America/New_York"
    labour_rate = Decimal("80")
    diagnosis_fee = Decimal("45")


class StaffFactory(DjangoModelFactory):
    class Meta:
        model = Staff

    name = factory.Sequence(lambda n: f"Staff {n}")
    sign_in = factory.Sequence(lambda n: f"staff{n}")
    role = Role.OWNER


class TermsFactory(DjangoModelFactory):
    class Meta:
        model = Terms
        django_get_or_create = ("version",)

    version = 1
    text = "We look at your gear, tell you what it needs, and do what you agree to."
    storage_text = "Collect within 30 days of the notice. After that storage is charged by the day."
    daily_fee = Decimal("2")


class TaxRateFactory(DjangoModelFactory):
    class Meta:
        model = TaxRate

    name = "Sales tax"
    percent = Decimal("7.25")
    on_parts = True
    valid_from = dt.date(2020, 1, 1)


class PersonFactory(DjangoModelFactory):
    class Meta:
        model = Person

    name = factory.Sequence(lambda n: f"Customer {n}")


class PhoneFactory(DjangoModelFactory):
    class Meta:
        model = Phone

    person = factory.SubFactory(PersonFactory)
    number = factory.Sequence(lambda n: f"555 01{n % 100:02d}")


class GearFactory(DjangoModelFactory):
    class Meta:
        model = Gear

    owner = factory.SubFactory(PersonFactory)
    kind = "head"
    technology = "valve"
    maker = "Corvane"
    model = "Meridian 50"
    serial = factory.Sequence(lambda n: f"CM{n:05d}")


class SignatureFactory(DjangoModelFactory):
    class Meta:
        model = Signature

    purpose = "drop-off"
    name = "Customer"
    svg = '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 300 100"><path d="M1 1L9 9"/></svg>'
    words = "The shop's terms."


class VisitFactory(DjangoModelFactory):
    class Meta:
        model = Visit

    person = factory.SubFactory(PersonFactory)
    taken_in_by = factory.SubFactory(StaffFactory)
    terms = factory.SubFactory(TermsFactory)
    signature = factory.SubFactory(SignatureFactory)


_last_numbers: dict[str, int] = {}


def _next_number(month: str) -> int:
    """The next number of a month that claims issue: some are passed over (intake.claims)."""
    last = _last_numbers.get(month, 0)
    number, _ = claims.following(2000 + int(month[:2]), int(month[2:]), last if last < 9000 else 0)
    _last_numbers[month] = number
    return number


class JobFactory(DjangoModelFactory):
    """A job; `state` may be anything. `claim` is made from month and number."""

    class Meta:
        model = Job

    month = "2611"
    number = factory.LazyAttribute(lambda o: _next_number(o.month))
    claim = factory.LazyAttribute(lambda o: claims.make(2000 + int(o.month[:2]), int(o.month[2:]), o.number))
    gear = factory.SubFactory(GearFactory)
    person = factory.SelfAttribute("gear.owner")
    visit = factory.SubFactory(VisitFactory, person=factory.SelfAttribute("..person"))
    complaint = "It hums and cuts out when warm."
    state = State.TAGGED_IN
    spend_limit = Decimal("5000")  # so that what is charged is no question where it isn't asked
    collected_at = factory.LazyAttribute(lambda o: timezone.now() if o.state == State.COLLECTED else None)


class LoosePieceFactory(DjangoModelFactory):
    class Meta:
        model = LoosePiece

    job = factory.SubFactory(JobFactory)
    name = "Footswitch"


class NoteFactory(DjangoModelFactory):
    class Meta:
        model = Note

    job = factory.SubFactory(JobFactory)
    text = "Reservoir capacitor bulges."
    by = factory.SubFactory(StaffFactory)


class FindingFactory(DjangoModelFactory):
    class Meta:
        model = Finding

    job = factory.SubFactory(JobFactory)
    fault = "First filter capacitor open"
    by = factory.SubFactory(StaffFactory)


class ChargeFactory(DjangoModelFactory):
    class Meta:
        model = Charge

    job = factory.SubFactory(JobFactory)
    kind = "part"
    text = "Capacitor 22 µF 450 V"
    unit_price = Decimal("6.50")
    by = factory.SubFactory(StaffFactory)


class ReadingFactory(DjangoModelFactory):
    class Meta:
        model = Reading

    job = factory.SubFactory(JobFactory)
    point = "Plate, V4"
    written = "448"
    value = 448.0
    unit = "V"
    when = "after"
    by = factory.SubFactory(StaffFactory)


class MeterFactory(DjangoModelFactory):
    class Meta:
        model = Meter

    name = factory.Sequence(lambda n: f"Bench meter {n}")
    calibrated_on = dt.date(2026, 3, 2)
    due_on = dt.date(2027, 3, 2)


class AccuracyFactory(DjangoModelFactory):
    class Meta:
        model = Accuracy

    meter = factory.SubFactory(MeterFactory)
    unit = "ohm"
    percent = 5.0
    always = 0.01


class KeptSheetFactory(DjangoModelFactory):
    """A worksheet as it was kept, of a kind that is always there."""

    class Meta:
        model = KeptSheet

    job = factory.SubFactory(JobFactory)
    slug = "after-repair-test"
    when = "after"
    said = factory.LazyFunction(
        lambda: {
            "protection": "class-i",
            "earth": "0.12",
            "cord": "2",
            "area": "0.75",
            "insulation_by": "left-out",
        }
    )
    answer = factory.LazyFunction(
        lambda: {
            "said": "No pass yet.",
            "verdict": "unsure",
            "lines": [{"label": "Protective earth", "value": "120 mΩ, pass", "verdict": "good", "said": ""}],
            "tables": [],
            "charts": [],
            "cautions": [],
            "notes": [],
        }
    )
    verdict = "unsure"
    engine = VERSION
    by = factory.SubFactory(StaffFactory)


class ListVersionFactory(DjangoModelFactory):
    """A list of the shop's own, of one line."""

    class Meta:
        model = ListVersion
        skip_postgeneration_save = True  # it is written once

    slug = factory.Sequence(lambda n: f"our-list-{n}")
    number = 1
    name = "Our own list"
    stage = "handling"
    digest = "x"

    @factory.post_generation
    def line(self, create: bool, extracted: object, **more: object) -> None:
        ListLine.objects.create(version=self, position=1, key="looked", text="Look at it.", ask="look")


class ListRunFactory(DjangoModelFactory):
    class Meta:
        model = ListRun

    job = factory.SubFactory(JobFactory)
    version = factory.SubFactory(ListVersionFactory)
    by = factory.SubFactory(StaffFactory)


class DrawerFactory(DjangoModelFactory):
    class Meta:
        model = "inventory.Drawer"

    code = factory.Sequence(lambda n: f"B-{n}")


class PartFactory(DjangoModelFactory):
    """A counted part without moves: give it some through `inventory.stock`."""

    class Meta:
        model = "inventory.Part"

    kind = "capacitor"
    name = factory.Sequence(lambda n: f"22u 450V axial {n}")


class SupplierFactory(DjangoModelFactory):
    class Meta:
        model = "inventory.Supplier"

    name = factory.Sequence(lambda n: f"Pier Parts {n}")
