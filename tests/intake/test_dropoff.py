"""Taking gear in: what is written down, what is refused, and that no claim number is given twice."""

import dataclasses
import datetime as dt
import threading
from decimal import Decimal

import pytest
from django.db import IntegrityError, connection, connections, transaction

from intake import claims, dropoff
from intake.dropoff import Brought, DoneAlready, HereAlready, NotSigned, Parcel, Who
from intake.models import Gear, Job, PadEntry, Person, Signature, State, Visit
from shop import timeline
from shop.errors import Refused
from shop.models import Entry
from tests.factories import GearFactory, JobFactory, PersonFactory, PhoneFactory, SignatureFactory

HEAD = Brought(kind="head", maker="Corvane", model="Meridian 50", serial="CM1", complaint="It hums.")
ANSWERS = {
    "name": "Dana Whitlow",
    "kind": "band",
    "group": "The Low Tides",
    "phones": ["555 010 0233"],
    "email": "dana@example.com",
    "address": "",
    "gear": [
        {
            "kind": "echo",
            "maker": "Oslin",
            "model": "Drifter",
            "serial": "",
            "complaint": "It flutters.",
            "came_with": ["Power cord", "A spare tape"],
            "happened": ["was_wet"],
            "history_note": "Rain in the van.",
        }
    ],
    "wanted_by": "2026-12-24",
    "spend_limit": "150.00",
    "diagnosis_fee": "45.00",
}


@pytest.fixture
def take_in(terms, counter):
    """Take gear in for somebody new, signed; what is given replaces that."""

    def taken(*brought: Brought, **changes) -> Visit:
        facts = {
            "who": Who(name="Dana Whitlow", phones=("555 010 0233",)),
            "brought": brought or [HEAD],
            "by": counter,
            "terms": terms,
            "signature": SignatureFactory.build(),
        }
        return dropoff.take_in(**{**facts, **changes})

    return taken


@pytest.fixture
def entry(terms, shop) -> PadEntry:
    return dropoff.sign_on_pad(
        answers=ANSWERS, drawing="<svg/>", terms=terms, shop=shop, device="A tablet " * 100
    )


# --- what a drop-off writes down


def test_a_walk_in_becomes_a_person_gear_a_visit_and_a_tagged_job(take_in):
    job = take_in().jobs.get()
    assert job.person.name == "Dana Whitlow"
    assert [p.number for p in job.person.phones.all()] == ["555 010 0233"]
    assert (job.gear.maker, job.gear.model, job.gear.serial) == ("Corvane", "Meridian 50", "CM1")
    assert job.gear.owner == job.person
    assert job.state == State.TAGGED_IN
    assert job.visit.signature.pk


def test_two_pieces_of_gear_are_one_signature_and_a_job_each(take_in):
    visit = take_in(HEAD, Brought(kind="cabinet", complaint="One speaker rattles."))
    one, other = visit.jobs.order_by("pk")
    assert other.number > one.number
    assert one.visit.signature == other.visit.signature


def test_what_was_said_stands_on_the_job(take_in):
    job = take_in(
        Brought(
            complaint="It crackles.",
            was_dropped=True,
            smelled=True,
            history_note="Off the stage.",
            condition="A corner is torn.",
            wanted_by=dt.date(2026, 12, 24),
            diagnosis_fee=Decimal("45"),
            spend_limit=Decimal("150"),
            came_with=("Power cord", "Footswitch"),
        )
    ).jobs.get()
    job.refresh_from_db()
    assert (job.was_dropped, job.was_wet, job.smelled) == (True, False, True)
    assert (job.history_note, job.condition) == ("Off the stage.", "A corner is torn.")
    assert (job.wanted_by, job.diagnosis_fee, job.spend_limit) == (dt.date(2026, 12, 24), 45, 150)
    assert [piece.name for piece in job.pieces.all()] == ["Power cord", "Footswitch"]


def test_the_timeline_says_who_took_it_in(take_in, counter):
    job = take_in(Brought(complaint="x", came_with=("Lid",))).jobs.get()
    (line,) = timeline.of(job)
    assert (line.by, line.words) == (counter, "took it in")
    assert {"what": "Came with", "before": "", "after": "Lid"} in line.changes
    assert timeline.of(job.person).exists()
    assert timeline.of(job.gear).exists()


def test_new_gear_stands_behind_the_line(take_in, counter):
    JobFactory(state=State.IN_LINE, queue_position=-5)
    waiting = JobFactory(state=State.IN_LINE)
    job = take_in().jobs.get()
    assert list(Job.objects.queue(on=dt.date(2026, 1, 1)))[-2:] == [waiting, job]


# --- claim numbers


def test_the_month_of_a_claim_is_that_of_the_shops_own_calendar(take_in, shop):
    late = dt.datetime(2026, 12, 1, 3, 30, tzinfo=dt.UTC)  # still the evening of 30 November in New York
    assert take_in(at=late).jobs.get().claim.startswith("2611-")
    shop.time_zone = "Europe/Lisbon"
    shop.save()
    assert take_in(at=late).jobs.get().claim.startswith("2612-")


def test_numbers_follow_each_other_and_start_again_with_the_month(take_in):
    november, december = (dt.datetime(2026, month, 15, tzinfo=dt.UTC) for month in (11, 12))
    first = [take_in(at=november).jobs.get().claim for _ in range(12)]
    assert first == sorted(first)
    assert first[0] == claims.following(2026, 11)[1]
    assert take_in(at=december).jobs.get().claim == claims.following(2026, 12)[1]


def test_a_full_month_is_said_and_nothing_is_half_kept(take_in):
    JobFactory(month="2611", number=9999, claim="2611-9999-X")
    people = Person.objects.count()
    with pytest.raises(claims.MonthFull), transaction.atomic():
        take_in(at=dt.datetime(2026, 11, 15, tzinfo=dt.UTC))
    assert Person.objects.count() == people


@pytest.fixture
def shared_database(transactional_db, tmp_path, monkeypatch):
    """A database that threads can write at once: SQLite's in memory is one connection's own."""
    if connection.vendor == "sqlite":
        path = tmp_path / "shared.sqlite3"
        connection.cursor().execute(f"VACUUM INTO '{path}'")
        monkeypatch.setitem(connections.settings["default"], "NAME", str(path))
        monkeypatch.setattr(connections["default"], "close", lambda: None)  # or the one in memory is gone


@pytest.mark.django_db(transaction=True)
def test_eight_counters_at_once_never_share_a_claim_number(shop, terms, counter, shared_database):
    claimed: list[str] = []
    failed: list[BaseException] = []
    together = threading.Barrier(8)

    def take_in_four() -> None:
        try:
            together.wait(timeout=20)
            for _ in range(4):
                visit = dropoff.take_in(
                    who=Who(name="Somebody"),
                    brought=[HEAD],
                    by=counter,
                    terms=terms,
                    signature=SignatureFactory.build(),
                )
                claimed.append(visit.jobs.get().claim)
        except BaseException as failure:
            failed.append(failure)
        finally:
            connection.close()

    threads = [threading.Thread(target=take_in_four) for _ in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(timeout=60)
    assert not failed
    assert len(claimed) == len(set(claimed)) == 32


# --- somebody known, gear that was here before


def test_somebody_known_keeps_their_phones_and_gains_the_new_one(take_in, counter):
    person = PersonFactory(name="Dana Whitlow", email="old@example.com")
    PhoneFactory(person=person, number="(555) 010-0233")
    take_in(who=Who(person=person, phones=("+1 555 010 0233", "555 010 0777"), email="new@example.com"))
    person.refresh_from_db()
    assert [p.number for p in person.phones.all()] == ["(555) 010-0233", "555 010 0777"]
    assert (person.email, person.revision) == ("new@example.com", 2)
    changes = timeline.of(person).first().changes
    assert {"what": "E-mail", "before": "old@example.com", "after": "new@example.com"} in changes


def test_nothing_new_about_somebody_known_changes_nothing(take_in):
    person = PersonFactory(email="dana@example.com", address="1 Ropewalk")
    take_in(who=Who(person=person))
    person.refresh_from_db()
    assert (person.email, person.address, person.revision) == ("dana@example.com", "1 Ropewalk", 1)
    assert not timeline.of(person).exists()


def test_a_bands_new_phone_says_whose_it_is(take_in):
    job = take_in(
        who=Who(name="The Low Tides", kind="band", contact="Dana", phones=("555 010 0233",))
    ).jobs.get()
    assert [p.label for p in job.person.phones.all()] == ["Dana"]


def test_gear_that_comes_again_is_the_same_gear_and_what_was_not_known_is_filled_in(take_in):
    gear = GearFactory(serial="", maker="Corvane")
    job = take_in(
        Brought(gear=gear, maker="Somebody else", serial="CM7", complaint="Again."),
        who=Who(person=gear.owner),
    ).jobs.get()
    assert job.gear == gear
    gear.refresh_from_db()
    assert (gear.maker, gear.serial, gear.revision) == ("Corvane", "CM7", 2)
    assert Gear.objects.count() == 1


def test_gear_that_is_in_the_house_is_not_taken_in_again(take_in):
    here = JobFactory(state=State.ON_THE_BENCH)
    with pytest.raises(HereAlready, match=here.claim):
        take_in(Brought(gear=here.gear, complaint="x"), who=Who(person=here.person))


def test_somebody_elses_gear_is_not_taken_in_as_theirs(take_in):
    gear = GearFactory()
    with pytest.raises(Refused, match="belongs to"):
        take_in(Brought(gear=gear, complaint="x"), who=Who(person=PersonFactory()))


@pytest.mark.parametrize(
    ("labour", "parts", "on", "runs"),
    [
        (dt.date(2026, 11, 25), None, dt.date(2026, 11, 25), True),
        (dt.date(2026, 11, 25), None, dt.date(2026, 11, 26), False),
        (dt.date(2026, 11, 1), dt.date(2026, 12, 1), dt.date(2026, 11, 25), True),
        (None, None, dt.date(2026, 11, 25), False),
    ],
)
def test_warranty_runs_to_the_end_of_its_last_day(labour, parts, on, runs, shop):
    job = JobFactory(
        state=State.COLLECTED,
        collected_at=dt.datetime(2026, 9, 1, 12, tzinfo=dt.UTC),
        labour_warranty_until=labour,
        parts_warranty_until=parts,
    )
    (gear,) = dropoff.gear_of(job.person, on)
    assert gear.comeback == (job if runs else None)


def test_a_comeback_points_to_the_repair_it_comes_from(take_in):
    before = JobFactory(state=State.COLLECTED)
    job = take_in(
        Brought(gear=before.gear, complaint="Again.", comeback_of=before), who=Who(person=before.person)
    ).jobs.get()
    assert job.comeback_of == before


def test_a_comeback_of_other_gear_is_refused(take_in):
    before = JobFactory(state=State.COLLECTED)
    with pytest.raises(Refused, match="same gear"):
        take_in(Brought(complaint="x", comeback_of=before))


# --- signed, or by mail


def test_gear_at_the_counter_needs_a_signature(take_in):
    with pytest.raises(NotSigned):
        take_in(signature=None)
    assert not Visit.objects.exists()


def test_gear_by_mail_needs_no_signature_but_its_carrier(take_in):
    visit = take_in(
        signature=None, parcel=Parcel(carrier="Harbour Freight", number="HF 1", condition="A dent.")
    )
    visit.refresh_from_db()
    assert (visit.how, visit.carrier, visit.parcel_number, visit.parcel_condition) == (
        "mail",
        "Harbour Freight",
        "HF 1",
        "A dent.",
    )


def test_the_database_itself_refuses_a_visit_that_is_neither_signed_nor_mailed(take_in):
    visit = take_in()
    with pytest.raises(IntegrityError), transaction.atomic():
        Visit.objects.filter(pk=visit.pk).update(signature=None)


@pytest.mark.parametrize("brought", [[], [HEAD] * (dropoff.MOST_GEAR + 1)])
def test_nothing_and_too_much_are_refused(take_in, brought):
    with pytest.raises(Refused):
        take_in(brought=brought)


def test_what_is_signed_names_the_gear_the_money_the_terms_and_the_storage_terms(shop, terms):
    words = dropoff.signed_words(
        shop,
        terms,
        [
            Brought(kind="head", maker="Corvane", serial="CM1", complaint="x", diagnosis_fee=Decimal("45")),
            Brought(kind="echo", complaint="x", spend_limit=Decimal("1150")),
        ],
    )
    assert "Lantern Quay Electronics" in words
    assert (
        "Corvane (amplifier head), serial CM1. Diagnosis fee $45.00, taken off the bill if it is repaired. "
        "Ask me before any work." in words
    )
    assert "Echo unit. No diagnosis fee. Go ahead without asking up to $1,150.00." in words
    assert terms.text in words
    assert terms.storage_text in words
    assert dropoff.storage_words(terms, shop.currency) in words


def test_a_signature_cannot_be_changed_or_deleted(take_in):
    signature = take_in().signature
    signature.words = "Something else."
    with pytest.raises(TypeError):
        signature.save()
    with pytest.raises(TypeError):
        signature.delete()


# --- what waits from the pad


def test_the_pad_keeps_the_signature_with_its_words_version_and_device(entry, terms):
    signature = Signature.objects.get()
    assert (signature.name, signature.svg, signature.words_version) == (
        "Dana Whitlow",
        "<svg/>",
        "terms, version 1",
    )
    assert "Oslin Drifter (echo unit). Diagnosis fee $45.00" in signature.words
    assert "up to $150.00" in signature.words
    assert terms.storage_text in signature.words
    assert signature.device == ("A tablet " * 100)[:300]
    assert entry.status == PadEntry.Status.WAITING


def test_an_entry_is_taken_in_as_it_was_written(entry, counter):
    visit = dropoff.check_in(
        entry, who=dropoff.who_wrote(entry), brought=dropoff.brought_on_pad(entry), by=counter
    )
    job = visit.jobs.get()
    assert visit.signature == entry.signature
    assert (visit.person.name, visit.person.kind) == ("The Low Tides", "band")
    assert [(p.number, p.label) for p in visit.person.phones.all()] == [("555 010 0233", "Dana Whitlow")]
    assert (job.gear.maker, job.was_wet, job.spend_limit, job.diagnosis_fee) == ("Oslin", True, 150, 45)
    assert job.wanted_by == dt.date(2026, 12, 24)
    assert [p.name for p in job.pieces.all()] == ["Power cord", "A spare tape"]
    entry.refresh_from_db()
    assert (entry.status, entry.visit) == (PadEntry.Status.TAKEN_IN, visit)
    assert not Entry.objects.filter(words__contains="corrected").exists()


def test_what_staff_correct_stands_in_the_timeline_and_the_signature_stays(entry, counter):
    words = entry.signature.words
    brought = [dataclasses.replace(dropoff.brought_on_pad(entry)[0], serial="OD 7", complaint="It wows.")]
    who = dataclasses.replace(dropoff.who_wrote(entry), email="d@example.com")
    visit = dropoff.check_in(entry, who=who, brought=brought, by=counter)
    changes = timeline.of(visit.jobs.get()).get(words__contains="corrected").changes
    assert {"what": "Serial number", "before": "", "after": "OD 7"} in changes
    assert {"what": "Complaint", "before": "It flutters.", "after": "It wows."} in changes
    assert timeline.of(visit.person).get(words__contains="corrected").changes == [
        {"what": "E-mail", "before": "dana@example.com", "after": "d@example.com"}
    ]
    assert Signature.objects.get().words == words


def test_an_entry_is_never_taken_in_twice(entry, counter):
    facts = {"who": dropoff.who_wrote(entry), "brought": dropoff.brought_on_pad(entry), "by": counter}
    stale = PadEntry.objects.get(pk=entry.pk)
    dropoff.check_in(entry, **facts)
    with pytest.raises(DoneAlready):
        dropoff.check_in(stale, **facts)
    assert Job.objects.count() == 1


def test_an_entry_that_is_put_away_comes_back(entry, counter):
    dropoff.put_away(entry, by=counter)
    with pytest.raises(DoneAlready):
        dropoff.check_in(
            entry, who=dropoff.who_wrote(entry), brought=dropoff.brought_on_pad(entry), by=counter
        )
    dropoff.bring_back(entry, by=counter)
    entry.refresh_from_db()
    assert entry.status == PadEntry.Status.WAITING
    with pytest.raises(DoneAlready):
        dropoff.bring_back(entry, by=counter)
    assert [line.words for line in timeline.of(entry)] == ["brought it back", "put it away"]


# --- who and what the shop knows


@pytest.fixture
def dana(shop) -> Person:
    dana = PersonFactory(name="Dana Whitlow")
    PhoneFactory(person=dana, number="(555) 010-0233")
    GearFactory(owner=dana, maker="Kestrel", model="73", serial="K-204 17")
    return dana


@pytest.mark.parametrize("text", ["dana", "whit", "555 010", "0233"])
def test_people_are_found_by_name_and_phone(dana, text):
    assert dropoff.find(text).people == [dana]


@pytest.mark.parametrize("text", ["kestrel", "73 kest", "k-204", "K-204 17"])
def test_gear_is_found_by_maker_model_and_serial_with_its_owner(dana, text):
    assert [gear.owner for gear in dropoff.find(text).gear] == [dana]


def test_gear_is_found_by_an_earlier_claim_number(shop):
    job = JobFactory(state=State.COLLECTED)
    assert dropoff.find(job.claim.lower()).gear == [job.gear]


def test_a_mistyped_claim_number_is_said_and_finds_nothing(shop):
    job = JobFactory()
    wrong = "Z" if job.claim[-1] != "Z" else "Y"
    found = dropoff.find(job.claim[:-1] + wrong)
    assert "does not add up" in found.wrong
    assert found.gear == []


@pytest.mark.parametrize("text", ["", " ", "a", "%", "\x00", "?!"])
def test_next_to_nothing_finds_nothing(dana, text):
    found = dropoff.find(text)
    assert (found.people, found.gear) == ([], [])


def test_candidates_come_with_the_reason(dana):
    namesake = PersonFactory(name="Whitlow, Dana")
    PersonFactory(name="Piet Harrow")
    assert dropoff.who_it_may_be("Dana Whitlaw", ["+1 555 010 0233"]) == [
        (dana, "same phone and name"),
        (namesake, "similar name"),
    ]


def test_candidates_take_the_same_queries_however_many_there_are(shop, django_assert_max_num_queries):
    for _ in range(12):
        PhoneFactory(person=PersonFactory(name="Dana Whitlow"))
    with django_assert_max_num_queries(2):
        assert len(dropoff.who_it_may_be("Dana Whitlow", ["555 010 0233"])) == 6


def test_a_candidate_search_of_nothing_finds_nobody(dana):
    assert dropoff.who_it_may_be("", []) == []
