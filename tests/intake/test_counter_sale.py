"""Sales over the counter: lines, an invoice without a job, its payment, the change, the receipt."""

import io
from decimal import Decimal

import pypdf
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from hypothesis.extra.django import TestCase

from intake import billing, counter_sale, credits, payments
from intake.billing import Row
from intake.models import Invoice, Payment, Person
from shop import papers, timeline
from shop.errors import ChangedMeanwhile
from shop.models import Shop
from shop.once import FIELD, new_key
from shop.roles import Role
from tests.conftest import Tablet
from tests.factories import PersonFactory, ShopFactory, StaffFactory

D = Decimal
TUBES = Row("part", "12AX7", D(3), D("14.90"), unit_cost=D("9.10"))
FUSE = Row("part", "Fuse 1 A", D(1), D("0.40"))
OFF = Row("discount", "Regular", D(1), D(0), percent=D(10))


def sell(by, *lines, method="cash", **more):
    return counter_sale.sell(lines or [TUBES, FUSE], method=method, by=by, **more)


def test_a_sale_is_an_invoice_without_a_job_and_its_payment(shop, counter):
    # 3 x 14.90 + 0.40 = 45.10; 7.25 % = 3.26975 -> 3.27; together 48.37
    sale, paid = sell(counter, tendered=D(50))
    assert (sale.label, sale.job, sale.person, sale.net, sale.gross) == (
        *("INV-00001", None, None),
        *(D("45.10"), D("48.37")),
    )
    assert (paid.amount, paid.invoice, paid.job, payments.change(paid)) == (D("48.37"), sale, None, D("1.63"))
    assert [line.unit_cost for line in sale.lines.all()] == [D("9.10"), None]
    assert billing.account(sale).owed == 0
    assert timeline.of(sale).last().words == "sold $48.37 over the counter, invoice INV-00001"


def test_a_discount_is_taken_off_last_wherever_it_was_written(shop, counter):
    # 10 % of 45.10 = 4.51; 40.59 left; 7.25 % = 2.942775 -> 2.94
    sale, _ = sell(counter, OFF, TUBES, FUSE)
    assert [line.text for line in sale.lines.all()] == ["12AX7", "Fuse 1 A", "Regular"]
    assert (sale.net, sale.gross) == (D("40.59"), D("43.53"))


def test_who_pays_no_tax_pays_none(shop, counter):
    sale, _ = sell(counter, person=PersonFactory(tax_exempt_number="EX-9"))
    assert (sale.gross, sale.exempt_number, sale.taxes) == (D("45.10"), "EX-9", [])


def test_only_somebody_named_pays_later(shop, counter):
    with pytest.raises(billing.CantBill, match="named"):
        sell(counter, method=None)
    sale, paid = sell(counter, method=None, person=PersonFactory())
    assert paid is None and billing.account(sale).owed == D("48.37")
    assert [debt.invoice_id for debt in payments.who_owes()] == [sale.pk]
    payments.take(sale, amount=D("48.37"), method="transfer", by=counter)
    assert payments.who_owes() == []


@pytest.mark.parametrize(
    ("lines", "sentence"),
    [
        ([OFF], "at least one line"),
        ([Row("labour", "Soldering", D(1), D(80))], "Labour is charged on a job"),
        ([FUSE] * 61, "at most 60 lines"),
        ([FUSE, Row("discount", "Gift", D(1), D(1))], "more than there is"),
        ([Row("part", "Gold", D(999999), D(999))], "more than (one bill can hold|can be billed)"),
    ],
)
def test_what_is_no_sale_is_refused_and_takes_no_number(shop, counter, lines, sentence):
    with pytest.raises(billing.CantBill, match=sentence):
        sell(counter, *lines)
    assert sell(counter)[0].number == 1


def test_too_little_cash_undoes_the_whole_sale(shop, counter):
    with pytest.raises(billing.CantBill, match="Less cash"):
        sell(counter, tendered=D(48))
    assert not Invoice.objects.exists()
    assert sell(counter)[0].number == 1


def test_it_is_sold_for_what_was_seen_or_not_at_all(shop, counter):
    with pytest.raises(ChangedMeanwhile):
        sell(counter, seen=D("48.36"))
    assert not Invoice.objects.exists()


def test_what_was_sold_is_credited_and_given_back(shop, counter):
    sale, _ = sell(counter)
    note = credits.credit(sale, taken=credits.all_of(sale), reason="Wrong tubes.", by=counter)
    assert billing.account(sale).in_hand == billing.account(note).in_hand == D("48.37")
    given = payments.give_back(sale, amount=D("48.37"), method="cash", reason="Wrong tubes.", by=counter)
    assert (given.invoice, given.amount) == (sale, D("-48.37"))
    with pytest.raises(billing.CantBill, match="no job"):
        credits.credit(sale, taken={1: D(1)}, reason="x", charge_again=True, by=counter)


# --- Over HTTP -------------------------------------------------------------------------------------------

PATH = "/counter-sale/"


def form(*rows, do="sell", **more):
    rows = rows or (("part", "12AX7", "3", "14.90"), ("part", "Fuse 1 A", "1", "0.40"))
    data = {"rows-TOTAL_FORMS": str(len(rows)), "rows-INITIAL_FORMS": "0", "do": do, **more}
    for n, row in enumerate(rows):
        names = ("kind", "text", "quantity", "unit_price")
        data |= {f"rows-{n}-{name}": value for name, value in zip(names, row, strict=True)}
    return data


PAID = {"method": "cash", "tendered": "50", "seen": "48.37"}


def test_it_is_added_up_first_and_then_sold(as_counter):
    for htmx in (False, True):
        page = as_counter.send(PATH, form(do="sum"), htmx=htmx).content.decode()
        assert 'name="seen" value="48.37"' in page and "Sell it for $48.37" in page
    assert not Invoice.objects.exists()
    answer = as_counter.send(PATH, form(**PAID))
    paid = Payment.objects.get()
    assert answer["Location"] == f"/payment/{paid.pk}/"
    page = as_counter.get(answer["Location"]).content.decode()
    assert "Change to give back" in page and "$1.63" in page and "/invoice/INV-00001/" in page


def test_sold_without_being_added_up_it_is_added_up(as_counter):
    page = as_counter.send(PATH, form(method="cash")).content.decode()
    assert "Sell it for $48.37" in page and not Invoice.objects.exists()


def test_one_more_line_loses_nothing(as_counter):
    page = as_counter.send(PATH, form(do="more")).content.decode()
    assert 'value="12AX7"' in page and 'name="rows-2-text"' in page
    assert 'name="rows-2-quantity" value="1"' in page


def test_a_person_is_found_while_one_types_and_chosen(as_counter):
    person = PersonFactory(name="Dana Whitlow")
    found = as_counter.part(f"{PATH}find/", {"who": "whit"}).content.decode()
    assert f'value="person:{person.pk}"' in found and "Dana Whitlow" in found
    page = as_counter.send(PATH, form(do=f"person:{person.pk}")).content.decode()
    assert "Dana Whitlow" in page and 'value="12AX7"' in page
    later = as_counter.send(PATH, form(method="later", seen="48.37", person=str(person.pk)))
    assert later["Location"] == "/invoice/INV-00001/"
    assert Invoice.objects.get().person == person


def test_a_double_tap_sells_once(as_counter):
    data = {**form(**PAID), FIELD: new_key()}
    first, second = (as_counter.post(PATH, data) for _ in range(2))
    assert first["Location"] == second["Location"]
    assert Invoice.objects.count() == 1


@pytest.mark.parametrize(
    ("data", "status", "sentence"),
    [
        (form(**{**PAID, "method": ""}), 422, "Say how it is paid."),
        (form(**{**PAID, "method": "none"}), 422, "not one of the available choices"),
        (form(**{**PAID, "tendered": "48"}), 422, "Less cash was handed over"),
        (form(**{**PAID, "tendered": "1,234"}), 422, "can be read in two ways"),
        (form(**{**PAID, "method": "later", "tendered": ""}), 422, "Only somebody who is named"),
        (form(**{**PAID, "seen": "48.36"}), 409, "another sum than was shown"),
        (form(("part", "", "1", "2"), **PAID), 422, "the receipt shows it"),
        (form(("part", "Fuse", "1", ""), **PAID), 422, "Write a price"),
        (form(("part", "Fuse", "0", "1"), **PAID), 422, "above zero"),
        (form(("labour", "Work", "1", "1"), **PAID), 422, "not one of the available choices"),
        (form(("part", "", "1", ""), do="sum"), 422, "at least one line"),
        ({"do": "sum"}, 422, "This page is incomplete"),
    ],
)
def test_what_is_wrong_is_said_and_nothing_is_sold(as_counter, data, status, sentence):
    for htmx in (False, True):
        answer = as_counter.send(PATH, data, htmx=htmx)
        assert answer.status_code == status
        assert sentence in answer.content.decode().replace("&#x27;", "'")
    assert not Invoice.objects.exists()


@pytest.mark.parametrize(
    ("role", "status"), [("as_owner", 302), ("as_counter", 302), ("as_bench", 403), ("as_pad", 403)]
)
def test_who_may_sell(request, role, status):
    assert request.getfixturevalue(role).send(PATH, form(**PAID)).status_code == status


def test_an_invoice_without_a_job_is_found_shown_and_printed(as_counter, shop, counter):
    sale, paid = sell(counter, tendered=D(50))
    found = as_counter.part("/find/", {"q": "INV-1"}).content.decode()
    assert "Sold over the counter" in found
    for path in ("", "paper/?view=html", "credit/", "payment/", "refund/"):
        assert as_counter.get(f"/invoice/{sale.label}/{path}").status_code == 200, path


def test_the_receipt_says_what_was_sold(as_counter, shop, counter):
    if papers.why_not():
        pytest.skip(papers.why_not())
    Shop.objects.update(tax_number="PA-77")
    _, paid = sell(counter, tendered=D(50))
    paper = pypdf.PdfReader(io.BytesIO(as_counter.get(f"/payment/{paid.pk}/receipt/").content))
    text = " ".join(page.extract_text() for page in paper.pages).replace("\n", " ")
    for said in ("INV-00001", "12AX7, 3 × $14.90", "$44.70", "Sales tax, 7.25 %", "$3.27", "Change", "$1.63"):
        assert said in text, said
    assert round(float(paper.pages[0].mediabox.width) / 72 * 25.4) == 80
    assert len(paper.pages) == 1


class TestHostileSales(TestCase):
    @settings(max_examples=30, deadline=None, suppress_health_check=list(HealthCheck))
    @given(
        st.dictionaries(
            st.sampled_from(
                [
                    *(
                        "rows-TOTAL_FORMS",
                        "rows-0-kind",
                        "rows-0-text",
                        "rows-0-quantity",
                        "rows-0-unit_price",
                    ),
                    *(
                        "rows-0-percent",
                        "rows-0-unit_cost",
                        "person",
                        "method",
                        "tendered",
                        "seen",
                        "do",
                        "q",
                        "who",
                        "rows-0-good",
                    ),
                ]
            ),
            st.one_of(
                st.text(max_size=40),
                st.sampled_from(
                    ["1e99", "NaN", "-1", "٣", "\x00", "person:x", "person:99", "sum", "more", "9" * 30, "61"]
                ),
            ),
        )
    )
    def test_whatever_is_sent(self, data):
        ShopFactory()
        tablet = Tablet()
        tablet.force_login(StaffFactory(role=Role.COUNTER), backend="shop.doors.PasswordDoor")
        answer = tablet.send(PATH, {**form(**PAID), **data})
        assert answer.status_code in (200, 302, 409, 422)
        assert Invoice.objects.count() == (answer.status_code == 302)
        assert not Person.objects.exists()


def test_a_persons_page_lists_what_they_bought_with_one_set_of_queries(
    as_counter, counter, shop, django_assert_max_num_queries
):
    person = PersonFactory()
    assert "Bought over the counter" not in as_counter.get(f"/people/{person.pk}/").content.decode()
    for _ in range(3):
        sell(counter, method=None, person=person)
    with django_assert_max_num_queries(20):
        page = as_counter.get(f"/people/{person.pk}/").content.decode()
    assert "Bought over the counter" in page and "INV-00003" in page and "$48.37 owed" in page
