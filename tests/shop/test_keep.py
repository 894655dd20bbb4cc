"""What is written once stays: the database refuses changes and deletions, whoever asks."""

import pytest
from django.db import DatabaseError, connection, models, transaction
from django.db.migrations.state import ProjectState
from django.db.migrations.writer import MigrationWriter
from django.utils import timezone

from calc.models import ListChange, Mark, NearMiss, SafetyWord, SignOff, UnsafeTag, Waiver
from intake import billing, estimating, payments
from intake.models import (
    Answer,
    CashUp,
    Estimate,
    EstimateLine,
    Invoice,
    InvoiceLine,
    LetGo,
    NoticeBack,
    Payment,
    Pickup,
    ReadyNotice,
    Signature,
    StorageNotice,
)
from inventory.models import Move, Tube, TubeReading
from shop import keep, timeline
from shop.models import Entry, Terms
from tests.factories import (
    JobFactory,
    KeptSheetFactory,
    ListRunFactory,
    PartFactory,
    ReadingFactory,
    SignatureFactory,
)
from tests.intake.bills import proposed, repaired

# Every model whose rows are written once. A new one belongs here, and in a migration.
KEPT = {
    "calc_keptsheet",
    "calc_listchange",
    "calc_listline",
    "calc_listrun",
    "calc_listversion",
    "calc_mark",
    "calc_nearmiss",
    "calc_reading",
    "calc_safetyword",
    "calc_signoff",
    "calc_unsafetag",
    "calc_waiver",
    "intake_answer",
    "intake_cashup",
    "intake_estimate",
    "intake_estimateline",
    "intake_invoice",
    "intake_invoiceline",
    "intake_letgo",
    "intake_noticeback",
    "intake_payment",
    "intake_pickup",
    "intake_readynotice",
    "intake_signature",
    "intake_storagenotice",
    "inventory_move",
    "inventory_tubereading",
    "shop_entry",
    "shop_terms",
}


@pytest.fixture
def rows(shop, counter):
    """A row in every kept table, and the triggers up. They go when the test's transaction is rolled back."""
    job = repaired(JobFactory(), counter)
    timeline.write(job, by=counter, words="wrote this")
    invoice = billing.issue_invoice(job, by=counter)
    payments.take(job, amount=invoice.gross, method="card", by=counter)
    estimating.answer(proposed(job, counter), yes=True, how="phone", who="Dana", by=counter)
    ReadyNotice.objects.create(job=job, how="phone", by=counter)
    Pickup.objects.create(job=job, handed_to="Dana", how="mail", carrier="Parcel", by=counter)
    SignatureFactory()
    ReadingFactory(job=job, by=counter)
    KeptSheetFactory(job=job, by=counter)
    run = ListRunFactory(job=job, by=counter)
    Mark.objects.create(run=run, key="looked", outcome="done", by=counter)
    SignOff.objects.create(run=run, passed=True, by=counter)
    ListChange.objects.create(job=job, slug="mould", applies=True, by=counter)
    Waiver.objects.create(job=job, slug="soak", words="Its owner waits.", by=counter)
    SafetyWord.objects.create(job=job, unsafe=True, words="The earth wire is off.", by=counter)
    UnsafeTag.objects.create(job=job, by=counter)
    NearMiss.objects.create(on=timezone.localdate(), what="A capacitor bit.", by=counter)
    part = PartFactory()
    Move.objects.create(part=part, why=Move.Why.RECEIVED, quantity=2, left=2, by=counter)
    tube = Tube.objects.create(label="T-1", part=part)
    TubeReading.objects.create(tube=tube, plate_volts=250, grid_volts=-14, current=0.072, by=counter)
    today = timezone.localdate()
    CashUp.objects.create(day=today, expected=100, counted=100, by=counter)
    notice = StorageNotice.objects.create(
        job=job, number=1, how="letter", address="2 Quay", words="It waits.", sent_on=today, by=counter
    )
    NoticeBack.objects.create(notice=notice, on=today, by=counter)
    LetGo.objects.create(job=job, became="scrapped", on=today, words="Agreed by letter.", decided_by=counter)
    for table in KEPT:
        keep.forbid(connection, table)


def asked(sql: str) -> None:
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(sql)


def test_every_kept_model_is_known():
    assert set(keep.kept_tables()) == KEPT


@pytest.mark.parametrize("table", sorted(KEPT))
@pytest.mark.parametrize("what", ["UPDATE {} SET id = id", "DELETE FROM {}"])
def test_the_database_refuses(rows, table, what):
    with connection.cursor() as cursor:
        cursor.execute(f"SELECT count(*) FROM {table}")
        before = cursor.fetchone()[0]
    assert before
    with pytest.raises(DatabaseError, match="What is written once is kept"):
        asked(what.format(table))
    with connection.cursor() as cursor:
        cursor.execute(f"SELECT count(*) FROM {table}")
        assert cursor.fetchone()[0] == before


@pytest.mark.parametrize(
    "model",
    [Answer, Estimate, EstimateLine, Invoice, InvoiceLine, Payment, ReadyNotice, Signature, Entry, Terms],
)
def test_querysets_dont_get_around_it(rows, model):
    with pytest.raises(DatabaseError, match="What is written once"), transaction.atomic():
        model.objects.update(id=models.F("id"))
    with pytest.raises((DatabaseError, models.ProtectedError)), transaction.atomic():
        model.objects.all().delete()
    assert model.objects.exists()


def test_upserts_dont_get_around_it(rows, shop):
    kept = Entry.objects.first()
    forged = Entry(pk=kept.pk, about=kept.about, words="forged", by=kept.by)
    with pytest.raises(DatabaseError), transaction.atomic():
        Entry.objects.bulk_create(
            [forged], update_conflicts=True, unique_fields=["id"], update_fields=["words"]
        )
    kept.refresh_from_db()
    assert kept.words != "forged"


@pytest.mark.skipif(connection.vendor != "sqlite", reason="INSERT OR REPLACE is SQLite's alone")
def test_replacing_doesnt_get_around_it(rows):
    kept = Entry.objects.first()
    with pytest.raises(DatabaseError, match="What is written once"):
        asked(f"INSERT OR REPLACE INTO shop_entry SELECT * FROM shop_entry WHERE id = {kept.pk}")


def test_new_rows_are_still_written(rows, shop, counter):
    before = Entry.objects.count()
    timeline.write("shop", by=counter, words="changed the shop")
    assert Entry.objects.count() == before + 1


def test_a_whole_repair_still_goes_through(rows, shop, counter):
    job = repaired(JobFactory(), counter)
    assert billing.issue_invoice(job, by=counter).label == "INV-00002"


def test_nothing_is_missing_once_all_are_up(rows):
    assert keep.missing(connection) == []


def test_what_lost_its_triggers_is_named(rows):
    keep.allow(connection, "intake_invoice")
    keep.lift(connection, "shop_entry")
    assert keep.missing(connection) == ["intake_invoice", "shop_entry"]


def test_twice_does_no_harm(rows):
    keep.forbid(connection, "intake_invoice")
    assert keep.missing(connection) == []


def test_a_tests_database_can_be_emptied_but_not_changed(rows):
    for table in KEPT:
        keep.lift(connection, table)
    asked("DELETE FROM intake_invoiceline")
    assert not InvoiceLine.objects.exists()
    with pytest.raises(DatabaseError, match="What is written once"):
        asked("UPDATE shop_entry SET words = 'forged'")


@pytest.mark.django_db(transaction=True)
def test_the_migration_goes_forward_and_back():
    """On its own table: SQLite's schema editor works outside a transaction, so nothing is rolled back."""
    operation, state = keep.Forbid("scratch"), ProjectState()
    operation.state_forwards("shop", state)
    asked("CREATE TABLE scratch (id integer)")
    try:
        asked("INSERT INTO scratch VALUES (1)")
        with connection.schema_editor() as editor:
            operation.database_forwards("shop", editor, state, state)
        with pytest.raises(DatabaseError, match="What is written once"):
            asked("UPDATE scratch SET id = 2")
        with connection.schema_editor() as editor:
            operation.database_backwards("shop", editor, state, state)
        asked("UPDATE scratch SET id = 2")
        asked("DELETE FROM scratch")
    finally:
        asked("DROP TABLE scratch")


def test_a_migration_file_can_hold_it():
    from django.db.migrations import Migration

    migration = type("Migration", (Migration,), {"operations": [keep.Forbid("shop_entry")]})(
        "0002_keep", "shop"
    )
    written = MigrationWriter(migration).as_string()
    assert "shop.keep.Forbid" in written
    assert "table='shop_entry'" in written


def test_the_migrations_put_up_every_trigger(django_db_setup, request):
    if request.config.getoption("--no-migrations"):
        pytest.skip("the test's database was made without migrations")
    assert django_db_setup == []
