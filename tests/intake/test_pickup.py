"""Pickup: the owner is told, all is ticked off, somebody signs, nothing is owed, the warranty starts."""

import datetime as dt
from decimal import Decimal

import pytest
from django.utils import timezone
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from hypothesis.extra.django import TestCase

from intake import billing, payments, pickup, workflow
from intake.models import Job, LoosePiece, Pickup, ReadyNotice, State
from shop import timeline
from shop.errors import ChangedMeanwhile, NotAllowed, NotAllowedYet
from shop.models import Shop
from shop.once import FIELD, new_key
from shop.roles import Role
from tests.at_once import at_once
from tests.conftest import Tablet
from tests.factories import JobFactory, LoosePieceFactory, ShopFactory, StaffFactory
from tests.intake.bills import STROKES, charged, repaired


def ready_job(by, *, paid: bool = True, pieces: tuple[str, ...] = ("Footswitch", "Cover"), **more) -> Job:
    """A repaired job that is ready, invoiced and paid."""
    job = repaired(JobFactory(state=State.READY, ready_at=timezone.now(), **more), by)
    for position, name in enumerate(pieces):
        LoosePieceFactory(job=job, name=name, position=position)
    invoice = billing.issue_invoice(job, by=by)
    if paid:
        payments.take(job, amount=invoice.gross, method="card", by=by)
    return job


def handed_back(job: Job, by, **more) -> Pickup:
    went = more.pop("went", {piece.pk for piece in job.pieces.all()} - set(more.get("stayed", {})))
    given_ = {"revision": job.revision, "handed_to": "Dana Whitlow", "gear_went": True, "stayed": {}, **more}
    return pickup.hand_back(job, by=by, went=went, **given_)


# --- Told ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("state", [State.READY, State.LEFT_BEHIND])
def test_a_notice_is_kept(shop, counter, state):
    job = JobFactory(state=state)
    pickup.tell(job, how="phone", words="Left word with her brother.", by=counter)
    notice = ReadyNotice.objects.get()
    assert (notice.how, notice.words, notice.by) == ("phone", "Left word with her brother.", counter)
    assert timeline.of(job).first().words == "told the owner that it is ready, by phone"


@pytest.mark.parametrize("state", [s for s in State if s not in (State.READY, State.LEFT_BEHIND)])
def test_nobody_is_told_before_it_is_ready(shop, counter, state):
    with pytest.raises(NotAllowedYet, match="isn't ready yet"):
        pickup.tell(JobFactory(state=state), how="phone", by=counter)


def test_what_was_told_before_it_went_back_to_the_bench_doesnt_count(shop, counter):
    job = JobFactory(state=State.READY, ready_at=timezone.now())
    pickup.tell(job, how="phone", by=counter)
    assert len(pickup.told(job)) == 1
    job.ready_at = timezone.now()
    assert pickup.told(job) == []


def test_the_jobs_page_says_that_nobody_was_told(as_counter, counter, shop):
    job = JobFactory(state=State.READY, ready_at=timezone.now())
    panel = as_counter.part(f"/job/{job.claim}/money/")
    assert "has not been told yet" in panel.content.decode()
    assert panel.context["money"]["next"] == "tell"
    answer = as_counter.send(f"/job/{job.claim}/ready-notice/", {"how": "message", "words": "By text."})
    assert answer.status_code == 302
    panel = as_counter.part(f"/job/{job.claim}/money/").content.decode()
    assert "has not been told yet" not in panel and "By text." in panel


@pytest.mark.parametrize(
    ("data", "sentence"),
    [
        ({"how": ""}, "Say how the owner was told."),
        ({"how": "pigeon"}, "pigeon is not one of the available choices"),
        ({"how": "phone", "words": "x" * 301}, "at most 300 characters"),
    ],
)
def test_a_notice_that_says_too_little_is_asked_again(as_counter, shop, data, sentence):
    job = JobFactory(state=State.READY)
    answer = as_counter.send(f"/job/{job.claim}/ready-notice/", data)
    assert answer.status_code == 422 and sentence in answer.content.decode()
    assert not ReadyNotice.objects.exists()


def test_a_notice_before_it_is_ready_is_refused_over_http(as_counter, shop):
    job = JobFactory(state=State.SOAK_TEST)
    assert "isn’t ready yet" in as_counter.get(f"/job/{job.claim}/ready-notice/").content.decode()
    assert as_counter.send(f"/job/{job.claim}/ready-notice/", {"how": "phone"}).status_code == 422
    assert not ReadyNotice.objects.exists()


# --- Handed back -----------------------------------------------------------------------------------------


@pytest.mark.parametrize("state", [State.READY, State.LEFT_BEHIND])
def test_everything_happens_together(shop, counter, state):
    job = ready_job(counter)
    Job.objects.update(state=state)
    job.refresh_from_db()
    kept = handed_back(job, counter, svg="<svg/>", device="Tablet")
    job.refresh_from_db()
    assert job.state == State.COLLECTED and job.collected_at is not None
    assert all(piece.went_home_at == kept.at for piece in job.pieces.all())
    assert (kept.handed_to, kept.missing, kept.owed, kept.waived_by) == ("Dana Whitlow", "", 0, None)
    assert kept.signature.words == (
        f"I have received from the repair, claim number {job.claim}: Corvane Meridian 50, Footswitch, Cover."
    )
    assert timeline.of(job).first().words == "handed it to Dana Whitlow"


# The local date counts, not UTC's: Port Ansley is five hours behind in winter.
@pytest.mark.parametrize(
    ("now", "labour_days", "parts_days", "labour_until", "parts_until"),
    [
        # 25 Nov + 90 days: 5 left of Nov, 31 of Dec, 31 of Jan, so 23 Feb
        ("2026-11-25T15:00Z", 90, 30, "2027-02-23", "2026-12-25"),
        # 03:00 UTC on 26 Nov is 22:00 on 25 Nov
        ("2026-11-26T03:00Z", 90, 30, "2027-02-23", "2026-12-25"),
        ("2026-11-25T15:00Z", 0, 365, None, "2027-11-25"),
    ],
)
def test_the_warranty_runs_from_the_local_date(
    shop, counter, monkeypatch, now, labour_days, parts_days, labour_until, parts_until
):
    Shop.objects.update(warranty_labour_days=labour_days, warranty_parts_days=parts_days)
    job = ready_job(counter)
    monkeypatch.setattr(timezone, "now", lambda: dt.datetime.fromisoformat(now))
    handed_back(job, counter)
    job.refresh_from_db()
    until = [day and day.isoformat() for day in (job.labour_warranty_until, job.parts_warranty_until)]
    assert until == [labour_until, parts_until]


def test_what_goes_home_as_it_is_has_no_warranty(shop, counter):
    job = JobFactory(state=State.IN_LINE, diagnosis_fee=0)
    billing.take_home_as_is(job, by=counter, revision=1, reason="Too dear.")
    job.refresh_from_db()
    workflow.move(job, to=State.READY, by=counter, revision=2)
    job.refresh_from_db()
    handed_back(job, counter)
    job.refresh_from_db()
    assert job.declined
    assert (job.labour_warranty_until, job.parts_warranty_until) == (None, None)


def test_a_piece_that_stays_needs_its_sentence(shop, counter):
    job = ready_job(counter)
    switch, cover = job.pieces.all()
    with pytest.raises(NotAllowedYet, match="“Cover” isn't ticked"):
        handed_back(job, counter, stayed={cover.pk: " "})
    kept = handed_back(job, counter, stayed={cover.pk: "It is being washed."})
    assert kept.missing == "Cover: It is being washed."
    switch.refresh_from_db()
    cover.refresh_from_db()
    assert switch.went_home_at and cover.went_home_at is None


def test_without_the_gear_itself_nothing_goes_home(shop, counter):
    job = ready_job(counter)
    with pytest.raises(NotAllowedYet, match="Tick off the gear itself"):
        handed_back(job, counter, gear_went=False)


def test_a_piece_that_nobody_answered_for_is_noticed(shop, counter):
    job = ready_job(counter)
    with pytest.raises(ChangedMeanwhile, match="What came with it was changed"):
        handed_back(job, counter, went={job.pieces.first().pk})
    strange = LoosePieceFactory().pk
    with pytest.raises(ChangedMeanwhile):
        handed_back(job, counter, went={*job.pieces.values_list("pk", flat=True), strange})


@pytest.mark.parametrize("state", [s for s in State if s not in (State.READY, State.LEFT_BEHIND)])
def test_only_what_is_ready_is_handed_back(shop, counter, state):
    job = JobFactory(state=state)
    with pytest.raises(NotAllowedYet, match="handed back when it is ready"):
        handed_back(job, counter)
    assert not Pickup.objects.exists()


def test_by_mail_the_carrier_stands_for_the_signature(shop, counter):
    job = ready_job(counter)
    with pytest.raises(NotAllowedYet, match="carrier"):
        handed_back(job, counter, how="mail")
    kept = handed_back(job, counter, how="mail", carrier="Harbor Parcel 77 120")
    assert kept.signature is None
    assert timeline.of(job).first().words == "handed it to Dana Whitlow by Harbor Parcel 77 120"


def test_nobody_is_nobody(shop, counter):
    with pytest.raises(NotAllowedYet, match="who takes it"):
        handed_back(ready_job(counter), counter, handed_to="  ")


# --- The gate of money -----------------------------------------------------------------------------------


def not_invoiced(by) -> Job:
    return repaired(JobFactory(state=State.READY), by)


def half_paid(by) -> Job:
    job = ready_job(by, paid=False)
    payments.take(job, amount=Decimal(100), method="card", by=by)
    return job


def fee_not_invoiced(by) -> Job:
    Shop.objects.update(diagnosis_credited=False)
    return JobFactory(state=State.READY, diagnosis_fee=45)


def deposit_covers_it(by) -> Job:
    job = not_invoiced(by)
    payments.take(job, amount=Decimal(500), method="card", by=by, deposit=True)
    return job


OPEN = [
    (not_invoiced, "charges that no invoice has yet: $218.03", "218.03"),
    (half_paid, "$118.03 is still owed", "118.03"),
    (fee_not_invoiced, "charges that no invoice has yet: $45.00", "45"),
    (deposit_covers_it, "charges that no invoice has yet", "0"),
]


@pytest.mark.parametrize(("make", "sentence", "owed"), OPEN)
def test_with_money_open_it_stays(shop, counter, make, sentence, owed):
    job = make(counter)
    with pytest.raises(NotAllowedYet, match=sentence.replace("$", "\\$")):
        handed_back(job, counter)
    job.refresh_from_db()
    assert job.state == State.READY
    assert not Pickup.objects.exists()


@pytest.mark.parametrize(("make", "sentence", "owed"), OPEN)
def test_the_owner_may_waive_it_with_a_reason(shop, counter, owner, make, sentence, owed):
    job = make(counter)
    kept = handed_back(job, owner, waiver="She plays tonight and pays on Friday.")
    assert (kept.owed, kept.waiver, kept.waived_by) == (
        Decimal(owed),
        "She plays tonight and pays on Friday.",
        owner,
    )
    job.refresh_from_db()
    assert job.state == State.COLLECTED
    changes = {c["what"]: c["after"] for c in timeline.of(job).first().changes}
    assert changes["Went with money owed, because"] == "She plays tonight and pays on Friday."


@pytest.mark.parametrize("role", [Role.COUNTER, Role.BENCH])
def test_nobody_else_may(shop, counter, role):
    job = half_paid(counter)
    with pytest.raises(NotAllowed, match="Only the owner of the shop"):
        handed_back(job, StaffFactory(role=role), waiver="A friend of mine.")
    job.refresh_from_db()
    assert job.state == State.READY


def test_a_waiver_where_nothing_is_owed_isnt_kept(shop, counter):
    kept = handed_back(ready_job(counter), counter, waiver="For safety.")
    assert (kept.waiver, kept.waived_by) == ("", None)


@pytest.mark.parametrize("through", ["", "pickup", "storage"])
@pytest.mark.parametrize(("make", "sentence", "owed"), OPEN)
def test_no_other_path_leads_out(shop, counter, owner, make, sentence, owed, through):
    job = make(counter)
    with pytest.raises(NotAllowedYet):
        workflow.move(job, to=State.COLLECTED, by=owner, revision=job.revision, through=through)
    job.refresh_from_db()
    assert job.state == State.READY


def test_gear_that_cost_nothing_goes_home_without_an_invoice(shop, counter):
    assert handed_back(JobFactory(state=State.READY), counter).owed == 0


# --- Two tablets -----------------------------------------------------------------------------------------


def test_a_job_that_changed_meanwhile_is_looked_at_again(shop, counter):
    job = ready_job(counter)
    Job.objects.update(revision=8)
    with pytest.raises(ChangedMeanwhile) as why:
        handed_back(job, counter, revision=1)
    assert why.value.revision == 8


@pytest.mark.django_db(transaction=True)
def test_two_tablets_hand_it_back_once(shop, counter):
    job = ready_job(counter)
    answers = at_once([lambda: handed_back(job, counter, revision=1)] * 4)
    assert sorted(type(answer).__name__ for answer in answers) == ["ChangedMeanwhile"] * 3 + ["Pickup"]
    assert Pickup.objects.count() == 1


# --- Over HTTP -------------------------------------------------------------------------------------------


def form_data(job: Job, **change: str) -> dict[str, str]:
    ticks = {f"went-{piece.pk}": "on" for piece in job.pieces.all()}
    said = {"revision": str(job.revision), "gear": "on", "how": "counter", "handed_to": "Dana Whitlow"}
    return {**said, **ticks, "strokes": STROKES, **change}


def test_the_page_lists_what_came_with_it(as_counter, counter, shop):
    job = ready_job(counter)
    page = as_counter.get(f"/job/{job.claim}/pickup/").content.decode()
    assert "Corvane Meridian 50" in page and "Footswitch" in page and "Cover" in page
    assert "Money still open" not in page


def test_sent_it_goes_home_and_the_receipt_is_offered(as_counter, counter, shop):
    job = ready_job(counter)
    answer = as_counter.send(f"/job/{job.claim}/pickup/", form_data(job))
    assert answer["Location"] == f"/job/{job.claim}/went-home/"
    page = as_counter.get(answer["Location"]).content.decode()
    assert "Handed to Dana Whitlow" in page
    assert f"/job/{job.claim}/receipt/" in page
    assert "<path" in Pickup.objects.get().signature.svg


def test_a_double_tap_hands_it_back_once(as_counter, counter, shop):
    job = ready_job(counter)
    data = {**form_data(job), FIELD: new_key()}
    first, second = (as_counter.post(f"/job/{job.claim}/pickup/", data) for _ in range(2))
    assert first["Location"] == second["Location"]
    assert Pickup.objects.count() == 1


@pytest.mark.parametrize(
    ("change", "sentence"),
    [
        ({"gear": ""}, "Tick off the gear itself"),
        ({"handed_to": ""}, "Write down who takes it."),
        ({"handed_to": "x" * 121}, "at most 120 characters"),
        ({"how": "mail"}, "Write down the carrier and the parcel number."),
        ({"how": "pigeon"}, "pigeon is not one of the available choices"),
        ({"strokes": ""}, "Sign on the glass."),
        ({"strokes": "[]"}, "The signature did not arrive."),
        ({"revision": ""}, "This page is incomplete"),
    ],
)
def test_what_is_missing_is_said_and_nothing_is_handed_back(as_counter, counter, shop, change, sentence):
    job = ready_job(counter)
    for htmx in (False, True):
        answer = as_counter.send(f"/job/{job.claim}/pickup/", form_data(job, **change), htmx=htmx)
        assert answer.status_code == 422
        assert sentence in answer.content.decode()
    assert not Pickup.objects.exists()


def test_an_unticked_piece_is_asked_for(as_counter, counter, shop):
    job = ready_job(counter)
    cover = job.pieces.last()
    data = form_data(job)
    del data[f"went-{cover.pk}"]
    answer = as_counter.send(f"/job/{job.claim}/pickup/", data)
    assert answer.status_code == 422
    assert "Tick off “Cover”, or write why" in answer.content.decode()
    as_counter.send(f"/job/{job.claim}/pickup/", data | {f"why-{cover.pk}": "Lost by us."})
    assert Pickup.objects.get().missing == "Cover: Lost by us."


def test_a_piece_added_meanwhile_is_asked_for(as_counter, counter, shop):
    job = ready_job(counter)
    data = form_data(job)
    LoosePieceFactory(job=job, name="Power cord", position=9)
    answer = as_counter.send(f"/job/{job.claim}/pickup/", data)
    assert answer.status_code == 422 and "Tick off “Power cord”" in answer.content.decode()


def test_the_second_tablet_is_shown_that_something_changed(as_counter, counter, shop):
    job = ready_job(counter)
    data = form_data(job, handed_to="Her brother")
    job.take_revision(job.revision)
    answer = as_counter.send(f"/job/{job.claim}/pickup/", data)
    page = answer.content.decode()
    assert answer.status_code == 409
    assert "Someone else changed this job" in page and "Her brother" in page
    assert 'name="revision" value="2"' in page
    assert as_counter.send(f"/job/{job.claim}/pickup/", {**data, "revision": "2"}).status_code == 302


def test_the_second_tablet_is_shown_that_it_is_gone(as_counter, counter, shop):
    job = ready_job(counter)
    data = form_data(job)
    as_counter.send(f"/job/{job.claim}/pickup/", data)
    answer = as_counter.send(f"/job/{job.claim}/pickup/", data)
    assert answer.status_code == 409
    assert "Gear is handed back when it is ready." in answer.content.decode()
    assert Pickup.objects.count() == 1


def test_money_that_is_owed_is_said_on_the_page_and_only_the_owner_sees_the_way_round(
    as_counter, as_owner, counter, shop
):
    job = half_paid(counter)
    page = as_counter.get(f"/job/{job.claim}/pickup/").content.decode()
    assert "$118.03 is still owed" in page and 'name="waiver"' not in page
    assert 'name="waiver"' in as_owner.get(f"/job/{job.claim}/pickup/").content.decode()


@pytest.mark.parametrize(("role", "status"), [("as_owner", 302), ("as_counter", 403)])
def test_a_raw_waiver_counts_from_the_owner_alone(request, role, status, counter, shop):
    job = half_paid(counter)
    tablet = request.getfixturevalue(role)
    answer = tablet.send(f"/job/{job.claim}/pickup/", form_data(job, waiver="Let it go."))
    assert answer.status_code == status
    assert Pickup.objects.exists() is (status == 302)


@pytest.mark.parametrize(("make", "sentence", "owed"), OPEN)
def test_a_raw_post_with_money_open_is_refused(as_counter, counter, shop, make, sentence, owed):
    job = make(counter)
    answer = as_counter.send(f"/job/{job.claim}/pickup/", form_data(job))
    assert answer.status_code == 422
    assert not Pickup.objects.exists()


@pytest.mark.parametrize(
    ("role", "status"), [("as_owner", 302), ("as_counter", 302), ("as_bench", 403), ("as_pad", 403)]
)
def test_who_may_hand_gear_back(request, role, status, counter, shop):
    job = ready_job(counter)
    answer = request.getfixturevalue(role).send(f"/job/{job.claim}/pickup/", form_data(job))
    assert answer.status_code == status
    assert Pickup.objects.exists() is (status == 302)


def test_what_did_not_go_home_yet_has_no_page(as_counter, counter, shop):
    job = ready_job(counter)
    assert as_counter.get(f"/job/{job.claim}/went-home/").status_code == 404
    assert as_counter.get(f"/job/{job.claim}/receipt/").status_code == 404


def test_charges_that_make_no_bill_are_a_sentence_here_too(as_counter, counter, shop):
    job = JobFactory(state=State.READY)
    charged(job, "discount", "Friend", "31", by=counter)
    for answer in (
        as_counter.get(f"/job/{job.claim}/pickup/"),
        as_counter.send(f"/job/{job.claim}/pickup/", form_data(job)),
    ):
        assert answer.status_code == 422
        assert "more than there is" in answer.content.decode()


class TestHostilePickups(TestCase):
    @settings(max_examples=30, deadline=None, suppress_health_check=list(HealthCheck))
    @given(
        st.dictionaries(
            st.sampled_from(
                ["revision", "gear", "how", "handed_to", "carrier", "strokes", "typed", "waiver", "why"]
            ),
            st.one_of(
                st.text(max_size=60),
                st.sampled_from(
                    [
                        "-1",
                        "9" * 40,
                        "\x00",
                        '{"width": 1e400, "height": 1, "strokes": [[]]}',
                        '{"width": null}',
                        "[" * 5000,
                        '{"width": 300, "height": 120, "strokes": [[{"x": "a", "y": null}]]}',
                    ]
                ),
            ),
        )
    )
    def test_whatever_is_sent(self, change):
        ShopFactory()
        tablet = Tablet()
        counter = StaffFactory(role=Role.COUNTER)
        tablet.force_login(counter, backend="shop.doors.PasswordDoor")
        job = ready_job(counter)
        piece = LoosePiece.objects.first()
        if "why" in change:
            change = {**change, f"why-{piece.pk}": change["why"], f"went-{piece.pk}": ""}
        answer = tablet.send(f"/job/{job.claim}/pickup/", form_data(job) | change)
        assert answer.status_code in (302, 409, 422)
        assert Pickup.objects.exists() is (answer.status_code == 302)
