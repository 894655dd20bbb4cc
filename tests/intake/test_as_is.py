"""Going home as is: the owner declined, so nothing is charged but the diagnosis fee."""

import pytest

from intake import billing, workflow
from intake.models import Charge, Job, State
from shop import timeline
from shop.errors import ChangedMeanwhile, NotAllowedYet
from tests.factories import JobFactory
from tests.intake.bills import charged, repaired

FROM = [
    State.TAGGED_IN,
    State.IN_LINE,
    State.ON_THE_BENCH,
    State.OWNER_TO_DECIDE,
    State.PARTS_ON_ORDER,
]


@pytest.mark.parametrize("state", FROM)
def test_only_the_diagnosis_fee_stays(shop, counter, state):
    job = repaired(JobFactory(state=state, diagnosis_fee=45), counter)
    billing.take_home_as_is(job, by=counter, revision=1, reason="Too dear.")
    job.refresh_from_db()
    assert (job.state, job.declined, job.revision) == (State.GOING_HOME_AS_IS, True, 2)
    standing = job.charges.standing().get()
    assert (standing.text, standing.unit_price, standing.origin) == (
        "Diagnosis fee",
        45,
        f"diagnosis/{job.pk}",
    )
    # three struck, none of them lost
    assert job.charges.count() == 4
    assert billing.bill(job).gross == 45


def test_the_timeline_says_what_was_struck_and_why(shop, counter):
    job = repaired(JobFactory(state=State.IN_LINE, diagnosis_fee=45), counter)
    billing.take_home_as_is(job, by=counter, revision=1, reason="Too dear.")
    entry = timeline.of(job).first()
    assert entry.words == "lets it go home as it is, for the diagnosis fee alone"
    assert entry.changes == [
        {
            "what": "Charged",
            "before": "New filter capacitors $120.00; Capacitor 22 µF 450 V $13.00; "
            "6L6GC, matched pair $78.40",
            "after": "Diagnosis fee $45.00",
        },
        {"what": "Why", "before": "", "after": "Too dear."},
    ]


def test_without_a_fee_nothing_is_charged(shop, counter):
    job = JobFactory(state=State.IN_LINE, diagnosis_fee=0)
    billing.take_home_as_is(job, by=counter, revision=1, reason="Too dear.")
    assert not job.charges.standing().exists()


def test_what_is_invoiced_stays_invoiced(shop, counter):
    job = repaired(JobFactory(state=State.ON_THE_BENCH, diagnosis_fee=45), counter)
    billing.issue_invoice(job, by=counter)
    charged(job, "fee", "Rush", "30", by=counter)
    billing.take_home_as_is(job, by=counter, revision=1, reason="Too dear.")
    assert job.charges.filter(invoice__isnull=False, struck_at__isnull=True).count() == 3
    assert [c.text for c in billing.draft(job).charges] == ["Diagnosis fee"]


def test_a_fee_that_was_invoiced_already_isnt_charged_again(shop, counter):
    job = JobFactory(state=State.ON_THE_BENCH, diagnosis_fee=45)
    billing.issue_invoice(job, by=counter)
    billing.take_home_as_is(job, by=counter, revision=1, reason="Too dear.")
    assert not billing.draft(job).charges


def test_going_and_coming_back_charges_the_fee_once(shop, counter):
    job = JobFactory(state=State.ON_THE_BENCH, diagnosis_fee=45)
    for _ in range(2):
        job.refresh_from_db()
        billing.take_home_as_is(job, by=counter, revision=job.revision, reason="Too dear.")
        job.refresh_from_db()
        workflow.move(job, to=State.ON_THE_BENCH, by=counter, revision=job.revision)
    assert job.charges.standing().count() == 1


def test_the_fee_of_a_declined_job_is_no_question(shop, counter):
    job = JobFactory(state=State.IN_LINE, diagnosis_fee=45)
    billing.take_home_as_is(job, by=counter, revision=1, reason="Too dear.")
    job.refresh_from_db()
    assert billing.draft(job).fee is None
    invoice = billing.issue_invoice(job, by=counter)
    assert invoice.gross == 45
    assert invoice.warranty == "It goes home as it is, so there is no warranty on it."


@pytest.mark.parametrize("state", [State.SOAK_TEST, State.READY, State.COLLECTED, State.LEFT_BEHIND])
def test_from_elsewhere_it_cant(shop, counter, state):
    job = repaired(JobFactory(state=state), counter)
    with pytest.raises(NotAllowedYet, match="can't go to going home as is"):
        billing.take_home_as_is(job, by=counter, revision=1, reason="Too dear.")
    assert job.charges.standing().count() == 3


def test_a_job_that_changed_meanwhile_keeps_its_charges(shop, counter):
    job = repaired(JobFactory(state=State.IN_LINE, revision=5), counter)
    with pytest.raises(ChangedMeanwhile):
        billing.take_home_as_is(job, by=counter, revision=4, reason="Too dear.")
    assert job.charges.standing().count() == 3


def test_no_plain_move_leads_there(shop, counter, as_counter):
    """Otherwise the bill of the repair would go home with gear that wasn't repaired."""
    job = repaired(JobFactory(state=State.IN_LINE), counter)
    assert State.GOING_HOME_AS_IS not in workflow.one_tap_moves(job)
    as_counter.send(f"/job/{job.claim}/move/", {"to": "going-home-as-is", "revision": "1"})
    assert Job.objects.get().state == State.IN_LINE


def test_the_page_shows_what_is_struck_and_does_it(as_counter, counter, shop):
    job = repaired(JobFactory(state=State.OWNER_TO_DECIDE, diagnosis_fee=45), counter)
    page = as_counter.get(f"/job/{job.claim}/as-is/").content.decode()
    assert "6L6GC, matched pair" in page and "$45.00" in page
    answer = as_counter.send(f"/job/{job.claim}/as-is/", {"revision": "1", "reason": "Too dear."})
    assert answer["Location"] == f"/job/{job.claim}/#money"
    assert Charge.objects.standing().get().text == "Diagnosis fee"


@pytest.mark.parametrize(
    ("data", "status", "sentence"),
    [
        ({"revision": "1", "reason": " "}, 422, "Write down why"),
        ({"revision": "", "reason": "Too dear."}, 422, "This page is incomplete"),
        ({"revision": "9" * 30, "reason": "Too dear."}, 422, "This page is incomplete"),
        ({"revision": "1", "reason": "x" * 301}, 422, "at most 300 characters"),
        ({"revision": "7", "reason": "Too dear."}, 409, "Someone else changed this job"),
    ],
)
def test_what_is_wrong_is_said_and_nothing_is_struck(as_counter, counter, shop, data, status, sentence):
    job = repaired(JobFactory(state=State.IN_LINE), counter)
    answer = as_counter.send(f"/job/{job.claim}/as-is/", data)
    assert answer.status_code == status
    assert sentence in answer.content.decode()
    assert job.charges.standing().count() == 3


@pytest.mark.parametrize(
    ("role", "status"), [("as_owner", 302), ("as_bench", 302), ("as_counter", 302), ("as_pad", 403)]
)
def test_who_may_let_it_go(request, role, status, shop):
    job = JobFactory(state=State.IN_LINE)
    data = {"revision": "1", "reason": "Too dear."}
    assert request.getfixturevalue(role).send(f"/job/{job.claim}/as-is/", data).status_code == status
