"""Let go: what became of gear that was left behind, who decided, and the record as one file."""

import datetime as dt
import io
from decimal import Decimal
from typing import Any

import pypdf
import pytest
from django.core.files.base import ContentFile
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from intake import billing, keeping, pickup, work
from intake.models import Job, LetGo, State
from shop import timeline
from shop.errors import ChangedMeanwhile, NotAllowed, NotAllowedYet
from shop.models import Shop, Staff
from tests.conftest import Tablet
from tests.intake.bills import repaired
from tests.intake.storage import ago, past_deadline, sent, today, waiting
from tests.intake.test_notices import picture

WHY = "Nobody answered three letters; the law here was checked on the phone."


@pytest.fixture
def left(owner: Staff) -> Job:
    """Left behind 95 days after its owner was told: 65 chargeable days, the cap of $120 reached."""
    job = past_deadline(owner)
    return keeping.leave_behind(job, by=owner, revision=job.revision)


def fate(became: str = "scrapped", **more: Any) -> keeping.Fate:
    return keeping.Fate(**{"became": became, "words": WHY, "to_whom": "A reader", **more})


def typed(job: Job, **more: Any) -> dict[str, Any]:
    return {
        "became": "scrapped",
        "on": today().isoformat(),
        "words": WHY,
        "sure": "on",
        "revision": job.revision,
        **more,
    }


# --- The decision ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("became", ["parts", "sold", "scrapped", "given"])
def test_what_became_of_it_is_kept_with_who_decided_and_what_the_clock_said(
    owner: Staff, left: Job, became: str
) -> None:
    price = Decimal(100) if became == "sold" else None
    kept = keeping.let_go(left, fate(became, price=price), by=owner, revision=left.revision)
    assert (kept.became, kept.on, kept.decided_by, kept.words) == (became, today(), owner, WHY)
    assert kept.may_act["may act"] is True
    assert kept.may_act["notices that count"] == [ago(95 - day).isoformat() for day in (30, 50, 70)]
    left.refresh_from_db()
    assert left.state == State.LET_GO
    assert left.storage_notices.count() == 3
    assert timeline.of(left).first().words.startswith("let it go")
    with pytest.raises(TypeError):
        kept.save()


@pytest.mark.parametrize(
    ("price", "costs", "claims", "surplus"),
    [
        ("400", "30", "120", "250"),  # 400 - 30 - 120
        ("150", "30", "120", "0"),  # exactly
        ("100", "30", "120", "0"),  # less than was claimed: nobody owes anybody
        ("400.10", "0.05", "20.05", "380.00"),
    ],
)
def test_what_a_sale_leaves_is_the_gear_owners(
    owner: Staff, left: Job, price: str, costs: str, claims: str, surplus: str
) -> None:
    kept = keeping.let_go(
        left,
        fate("sold", price=Decimal(price), costs=Decimal(costs), claims=Decimal(claims)),
        by=owner,
        revision=left.revision,
    )
    assert kept.surplus == Decimal(surplus)


@given(*[st.decimals(0, 10**6, places=2)] * 3)
def test_a_surplus_is_never_below_zero_and_never_above_the_price(
    price: Decimal, costs: Decimal, claims: Decimal
) -> None:
    surplus = keeping.surplus_of(price, costs, claims)
    assert 0 <= surplus <= price
    assert surplus in {Decimal(0), price - costs - claims}


def test_the_claims_are_the_open_bill_and_the_storage_not_charged_yet(
    shop: Shop, owner: Staff, left: Job
) -> None:
    # 1.5 h × 80 + 2 × 6.50 + 78.40 = 211.40, tax 7.25 % of 91.40 = 6.63 (6.6265): 218.03; storage capped at 120
    repaired(left, owner)
    billing.issue_invoice(left, by=owner, charge_fee=False)
    job = keeping.with_record().get(pk=left.pk)
    claims = keeping.claims_on(job, keeping.clock_of(job, shop))
    assert (claims.unpaid, claims.storage, claims.total) == (
        Decimal("218.03"),
        Decimal(120),
        Decimal("338.03"),
    )
    keeping.charge_storage(job, by=owner)
    again = keeping.claims_on(job, keeping.clock_of(job, shop))
    assert (again.storage, again.total) == (0, Decimal("338.03"))  # moved from one to the other
    kept = keeping.let_go(left, fate("sold", price=Decimal(500)), by=owner, revision=left.revision)
    assert (kept.claims, kept.surplus) == (Decimal("338.03"), Decimal("161.97"))


def test_the_shop_claims_no_more_than_is_open(owner: Staff, left: Job) -> None:
    more = fate("sold", price=Decimal(500), claims=Decimal("120.01"))
    with pytest.raises(NotAllowedYet, match="at most \\$120.00"):
        keeping.let_go(left, more, by=owner, revision=left.revision)


@pytest.mark.parametrize(
    ("more", "why"),
    [
        ({"words": "  "}, "why, and how it was decided"),
        ({"became": "sold"}, "what it was sold for"),
        ({"became": "given", "to_whom": ""}, "to whom it went"),
        ({"became": "returned"}, "pickup page"),
        ({"became": "eaten"}, "pickup page"),
        ({"on": "later"}, "and today"),
        ({"on": "before"}, "and today"),
    ],
)
def test_what_is_missing_is_said(owner: Staff, left: Job, more: dict, why: str) -> None:
    days = {"later": -1, "before": 30}  # 65 days after it was told
    if "on" in more:
        more = {"on": ago(days[more["on"]])}
    with pytest.raises(NotAllowedYet, match=why):
        keeping.let_go(left, fate(**more), by=owner, revision=left.revision)
    assert not LetGo.objects.exists()


def test_only_the_owner_of_the_shop_lets_gear_go(bench: Staff, counter: Staff, left: Job) -> None:
    for somebody in (bench, counter):
        with pytest.raises(NotAllowed):
            keeping.let_go(left, fate(), by=somebody, revision=left.revision)


def test_gear_that_isnt_left_behind_isnt_let_go(owner: Staff) -> None:
    job = past_deadline(owner)
    with pytest.raises(NotAllowedYet, match="left behind"):
        keeping.let_go(job, fate(), by=owner, revision=job.revision)


def test_a_letter_that_comes_back_meanwhile_holds_it(owner: Staff, left: Job) -> None:
    keeping.came_back(left.storage_notices.last(), on=today(), by=owner)
    with pytest.raises(NotAllowedYet, match="came back"):
        keeping.let_go(left, fate(), by=owner, revision=left.revision)


def test_a_dispute_holds_it(owner: Staff, left: Job) -> None:
    keeping.open_dispute(left, words="They say that they paid", by=owner)
    with pytest.raises(NotAllowedYet, match="dispute about money"):
        keeping.let_go(left, fate(), by=owner, revision=left.revision)


def test_two_tablets_decide_once(owner: Staff, left: Job) -> None:
    keeping.let_go(left, fate(), by=owner, revision=left.revision)
    with pytest.raises(NotAllowedYet):
        keeping.let_go(left, fate("given"), by=owner, revision=left.revision)
    assert LetGo.objects.get().became == "scrapped"


def test_who_saw_another_revision_looks_again(owner: Staff, left: Job) -> None:
    with pytest.raises(ChangedMeanwhile):
        keeping.let_go(left, fate(), by=owner, revision=left.revision - 1)
    assert not LetGo.objects.exists()


def test_what_is_kept_for_parts_is_told_to_the_stock(
    owner: Staff, left: Job, monkeypatch: pytest.MonkeyPatch
) -> None:
    taken = []
    monkeypatch.setattr(keeping, "parts_takers", keeping.Socket())
    keeping.parts_takers.plug(
        keeping.PartsTaker("stock", lambda job, kept, by: taken.append((job, kept, by)))
    )
    kept = keeping.let_go(left, fate("parts"), by=owner, revision=left.revision)
    assert taken == [(left, kept, owner)]


def test_gear_collected_after_all_goes_through_the_pickup_and_says_so(owner: Staff, left: Job) -> None:
    went = pickup.hand_back(
        left,
        by=owner,
        revision=left.revision,
        handed_to="Dana Whitlow",
        gear_went=True,
        went=[],
        stayed={},
        svg="<svg/>",
        waiver="No storage is asked for",
    )
    kept = LetGo.objects.get(job=left)
    assert (kept.became, kept.to_whom, kept.on) == ("returned", "Dana Whitlow", today())
    assert went.job.state == State.COLLECTED


# --- The page ----------------------------------------------------------------------------------------------------


def test_the_page_shows_the_clock_and_takes_the_decision(as_owner: Tablet, left: Job) -> None:
    path = f"/job/{left.claim}/storage/let-go/"
    page = as_owner.get(path).content.decode()
    for said in ("3 of 3 count", "$120.00", "differ by place", "Let it go"):
        assert said in page
    answer = as_owner.send(
        path, typed(left, became="sold", price="400", costs="30", to_whom="The reuse shop")
    )
    assert answer.status_code == 302
    assert left.let_go.surplus == Decimal(250)
    assert "The reuse shop" in as_owner.get("/storage/").content.decode()
    assert "Owed to the gear’s owner" in as_owner.get(answer["Location"]).content.decode()


@pytest.mark.parametrize(
    ("field", "value"),
    [
        ("became", "returned"),
        ("became", ""),
        ("words", ""),
        ("sure", ""),
        ("on", "soon"),
        ("revision", ""),
    ],
)
def test_nothing_typed_is_lost_when_something_is_missing(
    as_owner: Tablet, left: Job, field: str, value: str
) -> None:
    answer = as_owner.send(
        f"/job/{left.claim}/storage/let-go/", typed(left, to_whom="The reuse shop", **{field: value})
    )
    assert answer.status_code == 422
    assert "The reuse shop" in answer.content.decode()
    assert not LetGo.objects.exists()


def test_a_sale_needs_its_price_and_its_buyer(as_owner: Tablet, left: Job) -> None:
    form = as_owner.send(f"/job/{left.claim}/storage/let-go/", typed(left, became="sold")).context["form"]
    assert {"price", "to_whom"} <= set(form.errors)


def test_a_page_that_is_out_of_date_shows_the_job_anew(as_owner: Tablet, left: Job) -> None:
    answer = as_owner.send(f"/job/{left.claim}/storage/let-go/", typed(left, revision=left.revision - 1))
    assert answer.status_code == 409
    assert WHY in answer.content.decode()


def test_the_page_of_gear_that_may_not_go_says_why_and_has_no_button(as_owner: Tablet, owner: Staff) -> None:
    job = waiting(owner, 95)
    page = as_owner.get(f"/job/{job.claim}/storage/let-go/").content.decode()
    assert "3 notices are missing" in page
    assert "Let it go" not in page
    answer = as_owner.send(f"/job/{job.claim}/storage/let-go/", typed(job))
    assert answer.status_code == 422
    assert "3 notices are missing" in answer.content.decode()


junk = st.text(max_size=30) | st.sampled_from(
    ["", "-1", "1e9", "9" * 40, "NaN", "2026-02-30", "\x00", "sold"]
)


@settings(max_examples=20, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(became=junk, on=junk, price=junk, costs=junk, claims=junk, words=junk, revision=junk)
def test_the_decision_stands_anything(as_owner: Tablet, left: Job, **sent: str) -> None:
    answer = as_owner.send(f"/job/{left.claim}/storage/let-go/", sent)
    assert answer.status_code == 422
    assert not LetGo.objects.exists()


# --- The record --------------------------------------------------------------------------------------------------


def words_of(pdf: bytes) -> str:
    return " ".join(" ".join(p.extract_text() for p in pypdf.PdfReader(io.BytesIO(pdf)).pages).split())


def test_the_record_prints_as_one_file_with_everything_in_it(
    as_owner: Tablet, owner: Staff, left: Job
) -> None:
    proof = work.photograph(left, file=ContentFile(picture().read()), caption="Post office slip", by=owner)
    notice = sent(left, 90, owner, proof=proof, words="A fourth letter.", tracking="RR 17")
    keeping.pause(left, why="shop", words="We were closed", began=today(), by=owner)
    keeping.resume(left, by=owner)
    assert notice.proof == proof
    answer = as_owner.get(f"/job/{left.claim}/storage/record/")
    assert answer["Content-Type"] == "application/pdf"
    said = words_of(answer.content)
    for part in (
        left.claim,
        "The shop's terms.",  # what was signed
        "By phone",
        "Your gear waits. Notice 1.",
        "A fourth letter.",
        "RR 17",
        "Proof of notice 4: Post office slip",
        "We were closed",
        "Nothing has been decided.",
        "differ by place",
    ):
        assert part.replace(" ", "").lower() in said.replace(" ", "").lower(), part
    images = [image for page in pypdf.PdfReader(io.BytesIO(answer.content)).pages for image in page.images]
    assert images


def test_the_record_of_gear_that_is_gone_has_the_decision(as_owner: Tablet, owner: Staff, left: Job) -> None:
    keeping.let_go(
        left, fate("sold", price=Decimal(400), costs=Decimal(30)), by=owner, revision=left.revision
    )
    said = words_of(as_owner.get(f"/job/{left.claim}/storage/record/").content)
    for part in ("Sold", WHY, "$250.00", "Wren Adeyemi"):
        assert part in said


def test_the_record_is_whole_without_a_proofs_file(as_owner: Tablet, owner: Staff, left: Job) -> None:
    proof = work.photograph(left, file=ContentFile(picture().read()), caption="Slip", by=owner)
    sent(left, 90, owner, proof=proof)
    proof.image.storage.delete(proof.image.name)
    said = words_of(as_owner.get(f"/job/{left.claim}/storage/record/").content)
    assert "file is missing" in said


def test_the_clock_of_gear_that_is_gone_stands(shop: Shop, owner: Staff, left: Job) -> None:
    keeping.let_go(left, fate(), by=owner, revision=left.revision)
    Job.objects.filter(pk=left.pk).update(state_since=dt.datetime.combine(ago(2), dt.time(12), shop.zone))
    job = keeping.with_record().get(pk=left.pk)
    assert keeping.clock_of(job, shop).on == ago(2)
