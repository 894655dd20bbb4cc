"""A tablet that was handed over to read and sign an estimate: it opens that page, and staff's PIN brings it back."""

import datetime as dt

import pytest
from django.urls import reverse
from django.utils import timezone
from freezegun import freeze_time

from intake.models import Answer, Estimate
from shop import timeline
from shop.access import HELD_TO
from shop.models import OnceKey, Staff
from shop.roles import Role
from tests.factories import JobFactory
from tests.intake.bills import STROKES, proposed
from tests.samples import World, fill
from tests.shop.test_roles import PATTERNS

PASSWORD, PIN = "a long password", "4711"


@pytest.fixture
def estimate(counter) -> Estimate:
    return proposed(JobFactory(), counter)


@pytest.fixture
def page(estimate) -> str:
    return reverse("estimate-sign", args=[estimate.job.claim, 1])


@pytest.fixture
def lent(tablet_of, counter, estimate, page):
    """A tablet that Ida signed in on with her password and handed to the gear's owner."""
    counter.set_password(PASSWORD)
    counter.set_pin(PIN)
    counter.save()
    tablet = tablet_of(counter)
    tablet.logout()
    tablet.post(reverse("enter"), {"sign_in": "ida", "password": PASSWORD})
    answer = tablet.send(reverse("estimate-hand-over", args=[estimate.job.claim, 1]))
    assert answer["Location"] == page
    return tablet


def take_back(tablet, pin: str = PIN, **more: str):
    return tablet.post(reverse("pad-leave"), {"pin": pin, **more})


def sign(tablet, page: str):
    said = {"yes": "yes", "who": "Dana Whitlow", "seen": "80.00", "strokes": STROKES}
    return tablet.send(page, said)


def test_the_record_calls_a_typed_name_no_signature(lent, page):
    lent.send(page, {"yes": "yes", "who": "Dana Whitlow", "seen": "80.00", "typed": "on"})
    answer = Answer.objects.get()
    assert answer.how_words == "name typed on the tablet, not signed"
    assert "not signed" in timeline.of(answer.estimate.job)[0].words


def test_it_opens_the_estimate_to_read_and_sign(lent, page, counter):
    shown = lent.get(page).content.decode()
    assert "Bench time" in shown and reverse("pad-leave") in shown
    assert counter.name not in shown


OPEN_TO_ALL = {name for name, pattern in PATTERNS.items() if pattern.callback.act is None}


@pytest.mark.parametrize("name", sorted(set(PATTERNS) - OPEN_TO_ALL - {"pad-leave", "estimate-sign"}))
def test_no_other_address_opens_by_being_typed(lent, name, shop, estimate):
    """Every page of the shop, the sign-in pad's too, whether it is asked for or sent to."""
    world = World()
    world.__dict__["job"], world.__dict__["estimate"] = estimate.job, estimate
    path = reverse(name, kwargs=fill(name, set(PATTERNS[name].pattern.converters), world))
    for answer in (lent.get(path), lent.send(path), lent.part(path)):
        assert answer.status_code in (403, 405), path
    assert lent.session[HELD_TO] and not Answer.objects.exists()


def test_another_estimate_doesnt_open(lent, estimate, counter):
    proposed(estimate.job, counter)
    assert lent.get(reverse("estimate-sign", args=[estimate.job.claim, 2])).status_code == 403
    other = proposed(JobFactory(), counter)
    assert sign(lent, reverse("estimate-sign", args=[other.job.claim, 1])).status_code == 403
    assert not Answer.objects.exists()


def test_the_page_that_says_so_leads_back_to_it(lent, page):
    said = lent.get("/jobs/").content.decode()
    assert "handed over for one page" in said and f'href="{page}"' in said


@pytest.mark.parametrize("role", [Role.OWNER, Role.BENCH, Role.COUNTER])
def test_staff_hand_it_over_and_dont_open_it_themselves(role, page, as_owner, as_bench, as_counter):
    tablet = {Role.OWNER: as_owner, Role.BENCH: as_bench, Role.COUNTER: as_counter}[role]
    assert tablet.get(page).status_code == 403
    assert sign(tablet, page).status_code == 403


def test_the_sign_in_pad_opens_no_estimate(as_pad, page):
    assert as_pad.get(page).status_code == 403
    assert sign(as_pad, page).status_code == 403


def test_signed_it_is_the_word_of_the_owner_taken_by_who_handed_it_over(lent, page, counter):
    assert sign(lent, page)["Location"] == page
    kept = Answer.objects.get()
    assert (kept.by, kept.how, kept.who) == (counter, "signed", "Dana Whitlow")
    assert "Hand the tablet back" in lent.get(page).content.decode()
    assert lent.get("/jobs/").status_code == 403  # signing gives nothing more to see


def test_a_second_tap_on_signing_answers_once(lent, page):
    said = {"yes": "yes", "who": "Dana", "seen": "80.00", "strokes": STROKES, "once": "k" * 24}
    assert lent.post(page, said)["Location"] == lent.post(page, said)["Location"] == page
    assert Answer.objects.count() == 1 and OnceKey.objects.exists()


def test_the_pin_of_whoever_handed_it_over_takes_it_back(lent, estimate, counter):
    back = take_back(lent)
    assert back["Location"] == reverse("estimate", args=[estimate.job.claim, 1])
    assert lent.get(back["Location"]).context["request"].user == counter
    assert lent.get("/jobs/").status_code == 200
    assert HELD_TO not in lent.session


def test_the_full_sign_in_survives_the_handing_over(lent, bench):
    """A colleague can change person by PIN afterwards, as before."""
    bench.set_pin("8642")
    bench.save()
    take_back(lent)
    assert lent.post(reverse("change-person"), {"who": bench.pk, "pin": "8642"}).status_code == 302
    assert lent.get("/jobs/").context["request"].user == bench


def test_another_takes_it_back_with_their_sign_in_word(lent, bench):
    bench.set_pin("8642")
    bench.save()
    assert take_back(lent, "8642").status_code == 422
    assert lent.get("/jobs/").status_code == 403
    assert take_back(lent, "8642", sign_in="Tomas").status_code == 302


def test_five_wrong_pins_lock_it_and_the_right_one_doesnt_help_then(lent, counter):
    for _ in range(5):
        said = take_back(lent, "0000").content.decode()
    assert "Too many wrong tries" in said and counter.name not in said
    assert take_back(lent).status_code == 422
    assert lent.get("/jobs/").status_code == 403


def test_after_twelve_hours_the_pin_no_longer_does_but_the_password(lent, page):
    with freeze_time(timezone.now() + dt.timedelta(hours=12, minutes=1)):
        assert take_back(lent).status_code == 422
        lent.post(reverse("enter"), {"sign_in": "ida", "password": PASSWORD})
        assert lent.get("/jobs/").status_code == 200


def test_an_estimate_that_was_answered_isnt_handed_over(tablet_of, lent, page, estimate, bench):
    sign(lent, page)
    tablet = tablet_of(bench)
    answer = tablet.send(reverse("estimate-hand-over", args=[estimate.job.claim, 1]))
    assert answer.status_code == 422 and "has its answer" in answer.content.decode()
    assert HELD_TO not in tablet.session


def test_one_whose_place_was_taken_meanwhile_isnt_signed(lent, page, estimate, counter):
    proposed(estimate.job, counter)
    assert "has taken its place" in lent.get(page).content.decode()
    assert sign(lent, page).status_code == 422
    assert not Answer.objects.exists()


def test_handing_over_makes_one_row_for_the_pad(lent, tablet_of, bench, estimate):
    tablet_of(bench).send(reverse("estimate-hand-over", args=[estimate.job.claim, 1]))
    assert Staff.objects.filter(role=Role.PAD).count() == 1
