"""Sold over the counter out of a drawer: found or scanned, priced, taken out with the invoice, put back if credited."""

from decimal import Decimal as D

import pytest

from intake import billing, counter_sale, credits
from intake.billing import Row
from intake.models import Invoice
from inventory import aside, selling, stock, tubes
from inventory.models import Move
from shop.errors import NotAllowedYet
from tests.factories import DrawerFactory, JobFactory, PartFactory

pytestmark = pytest.mark.django_db

PATH = "/counter-sale/"


@pytest.fixture
def part(shop, owner):
    """Five in B-14, at 2.50, sold at 7.20."""
    part = PartFactory(drawer=DrawerFactory(code="B-14"), name="22u 450V axial", price=D("7.20"))
    stock.receive(part, quantity=5, cost_each=D("2.50"), by=owner)
    return part


@pytest.fixture
def tube(shop, owner):
    """One of three 6L6GC has a label."""
    kind = PartFactory(kind="tube", name="6L6GC", designation="6L6GC", price=D(30))
    stock.receive(kind, quantity=3, cost_each=D(12), by=owner)
    return tubes.log(kind, by=owner, make="Corvane")


def there(part):
    part.refresh_from_db()
    return part.quantity


def row(thing, quantity=1, price="7.20", **more):
    return Row("part", str(thing), D(quantity), D(price), good=selling.key_of(thing), **more)


def sell(by, *rows, **more):
    return counter_sale.sell(rows, method="cash", by=by, **more)[0]


# --- In one transaction


def test_a_sale_takes_its_lines_out_of_the_drawers_at_what_they_cost(part, tube, counter):
    sale = sell(
        counter, Row("part", "Strap", D(1), D(9)), row(part, 2, unit_cost=D(99)), row(tube, price="30")
    )
    strap, caps, one = sale.lines.all()
    assert (strap.unit_cost, caps.unit_cost, one.unit_cost) == (None, D("2.5"), D(12))
    assert (there(part), there(tube.part)) == (3, 2)
    assert list(Move.objects.filter(why="sold").values_list("sale_line", "quantity")) == [
        (one.pk, -1),
        (caps.pk, -2),
    ]
    tube.refresh_from_db()
    assert tube.gone_at and tube.move.sale_line == one
    assert stock.check() == []


def test_more_than_is_free_is_not_sold_and_no_invoice_is_written(part, counter):
    aside.put_aside(part, JobFactory(), quantity=4, by=counter)
    with pytest.raises(
        counter_sale.NotTaken, match="1 is free, others are put aside for jobs. Sell fewer"
    ) as why:
        sell(counter, line := row(part, 2))
    assert why.value.row is line
    assert not Invoice.objects.exists() and there(part) == 5


def test_two_lines_do_not_sell_the_same_piece_twice(part, counter):
    with pytest.raises(counter_sale.NotTaken, match="2 are free. Sell fewer, or count the drawer"):
        sell(counter, row(part, 3), row(part, 3))
    assert not Invoice.objects.exists() and there(part) == 5


@pytest.mark.parametrize(("quantity", "why"), [("1.5", "Whole pieces"), ("6", "5 are free")])
def test_how_many_can_be_sold(part, counter, quantity, why):
    with pytest.raises(counter_sale.NotTaken, match=why):
        sell(counter, row(part, quantity))


def test_labelled_tubes_are_sold_by_their_labels_and_a_set_as_one(tube, counter, owner):
    with pytest.raises(counter_sale.NotTaken, match="Take fewer, or say which labelled ones"):
        sell(counter, row(tube.part, 3, "30"))
    pair = [tube, tubes.log(tube.part, by=owner)]
    for each in pair:
        tubes.measure(each, plate_volts=400.0, grid_volts=-48.0, current=0.03, by=owner)
    made = tubes.make_set(pair, by=owner)
    with pytest.raises(counter_sale.NotTaken, match="isn’t in stock any more"):
        sell(counter, row(tube, price="30"))
    with pytest.raises(counter_sale.NotTaken, match="sold as one: write 2"):
        sell(counter, row(made, 1, "30"))
    sell(counter, row(made, 2, "30"))
    made.refresh_from_db()
    assert made.gone_at and there(tube.part) == 1


def test_what_is_not_counted_is_sold_with_nothing_to_take_off(shop, counter):
    screw = PartFactory(kind="hardware", name="Screw M4", is_loose=True, level="plenty", price=D("0.20"))
    assert sell(counter, row(screw, 4, "0.20")).lines.get().quantity == 4
    assert not Move.objects.exists()


# --- And back


def test_a_sale_comes_back_once_it_is_credited_and_no_more_than_is(part, counter):
    sale = sell(counter, row(part, 3))
    move, line = Move.objects.get(why="sold"), sale.lines.get()
    for back in (stock.undo, stock.give_back):
        with pytest.raises(NotAllowedYet, match="It is on invoice INV-00001. Make a credit note"):
            back(move, by=counter)
    credits.credit(sale, taken={line.pk: D(1)}, reason="Wrong ones.", by=counter)
    with pytest.raises(NotAllowedYet, match="It is on invoice"):
        stock.give_back(move, quantity=2, by=counter)
    back = stock.give_back(move, quantity=1, by=counter)
    assert (back.why, back.cost, back.sale_line, there(part)) == ("returned", D("2.5"), line, 3)
    with pytest.raises(NotAllowedYet, match="It is on invoice"):
        stock.give_back(move, quantity=1, by=counter)
    credits.credit(sale, taken={line.pk: D(2)}, reason="The others too.", by=counter)
    stock.give_back(move, by=counter)
    assert there(part) == 5 and stock.check() == []
    with pytest.raises(NotAllowedYet, match="given back already"):
        stock.give_back(move, by=counter)


def test_all_of_a_credited_sale_is_undone_and_its_tube_is_here_again(tube, counter):
    sale = sell(counter, row(tube, price="30"))
    credits.credit(sale, taken=credits.all_of(sale), reason="It hums.", by=counter)
    move = Move.objects.get(why="sold")
    assert stock.give_back(move, by=counter).undoes == move
    tube.refresh_from_db()
    assert tube.gone_at is None and there(tube.part) == 3


# --- On the page


def lines(*rows, do="sell", **more):
    """As the page sends them; each row a dict."""
    data = {"rows-TOTAL_FORMS": str(len(rows)), "rows-INITIAL_FORMS": "0", "do": do, **more}
    for n, said in enumerate(rows):
        data |= {
            f"rows-{n}-{name}": value for name, value in ({"kind": "part", "quantity": "1"} | said).items()
        }
    return data


BLANK = {"text": "", "unit_price": ""}


def test_parts_are_found_while_one_types(as_counter, part):
    found = as_counter.part(f"{PATH}goods/", {"q": "22u 450v"}).content.decode()
    assert f'value="good:part:{part.pk}"' in found
    assert "5 free in B-14" in found and "$7.20" in found
    assert "Nothing in stock answers that" in as_counter.part(f"{PATH}goods/", {"q": "4k7"}).content.decode()
    assert as_counter.get(f"{PATH}goods/?q=22u")["Location"] == PATH


def test_a_chosen_part_fills_a_blank_line_and_loses_nothing(as_counter, part):
    sent = lines({"text": "Strap", "unit_price": "9"}, BLANK, do=f"good:part:{part.pk}", q="22u")
    for htmx in (False, True):
        page = as_counter.send(PATH, sent, htmx=htmx).content.decode()
        assert 'value="Strap"' in page and 'value="22u 450V axial"' in page and 'value="7.20"' in page
        assert f'name="rows-1-good" value="part:{part.pk}"' in page
        assert "Out of stock: 5 free in B-14" in page
        assert 'id="sale-stock-box" value=""' in page


@pytest.mark.parametrize("label", ["B-14", "http://192.0.2.20/d/B-14/"])
def test_a_scanned_drawer_goes_on_a_line_and_scanned_again_it_is_two(as_counter, part, label):
    page = as_counter.send(PATH, lines(BLANK, do="", q=label)).content.decode()
    assert f'name="rows-0-good" value="part:{part.pk}"' in page
    there_now = {"text": "22u 450V axial", "unit_price": "7.20", "good": f"part:{part.pk}"}
    page = as_counter.send(PATH, lines(there_now, do="", q=label)).content.decode()
    assert 'name="rows-0-quantity" value="2"' in page


def test_a_drawer_with_several_parts_asks_which(as_counter, part):
    other = PartFactory(drawer=part.drawer, name="10u 450V axial")
    page = as_counter.send(PATH, lines(BLANK, do="stock", q="B-14")).content.decode()
    assert f'value="good:part:{part.pk}"' in page and f'value="good:part:{other.pk}"' in page


def test_the_label_of_a_tube_puts_it_on_a_line(as_counter, tube):
    page = as_counter.send(PATH, lines(BLANK, do="", q="t 1")).content.decode()
    assert f'value="tube:{tube.pk}"' in page and "6L6GC, Corvane, T-0001" in page


def test_the_page_of_a_part_leads_to_its_sale(as_owner, part):
    address = f"{PATH}?good=part:{part.pk}"
    assert address in as_owner.get(f"/parts/{part.pk}/").content.decode()
    page = as_owner.get(address).content.decode()
    assert f'name="rows-0-good" value="part:{part.pk}"' in page and 'value="7.20"' in page
    for nothing in ("part:999999", "part:x", "\x00", "tube:1"):
        assert as_owner.get(PATH, {"good": nothing}).status_code == 200


def test_a_line_is_cleared(as_counter, part):
    filled = {"text": "x", "unit_price": "7.20", "good": f"part:{part.pk}"}
    page = as_counter.send(PATH, lines(filled, do="clear:0")).content.decode()
    assert "Out of stock" not in page and f'value="part:{part.pk}"' not in page
    assert as_counter.send(PATH, lines(filled, do="clear:٣")).status_code == 200


def test_what_can_not_be_taken_is_said_beside_its_line_and_nothing_is_lost(as_counter, part):
    filled = {"text": "22u 450V axial", "unit_price": "7.20", "quantity": "6", "good": f"part:{part.pk}"}
    total = billing.the_shop() and counter_sale.sum_up([row(part, 6)], person=None).gross
    sent = lines({"text": "Strap", "unit_price": "0"}, filled, method="cash", tendered="100", seen=f"{total}")
    for htmx in (False, True):
        answer = as_counter.send(PATH, sent, htmx=htmx)
        page = answer.content.decode()
        assert answer.status_code == 422
        assert "5 are free. Sell fewer, or count the drawer." in page
        assert 'id="id_rows-1-quantity_wrong"' in page and 'id="id_rows-0-quantity_wrong"' not in page
        for kept in ('value="Strap"', 'value="6"', 'value="100"', f'value="{total}"'):
            assert kept in page, kept
    assert there(part) == 5 and not Invoice.objects.exists()
    sent["rows-1-quantity"] = "5"
    sent["seen"] = str(counter_sale.sum_up([row(part, 5)], person=None).gross)
    assert as_counter.send(PATH, sent).status_code == 302
    assert there(part) == 0


def test_only_a_part_comes_out_of_a_drawer(as_counter, part):
    fee = {"kind": "fee", "text": "x", "unit_price": "1", "good": f"part:{part.pk}"}
    answer = as_counter.send(PATH, lines(fee, method="cash", seen="1"))
    assert answer.status_code == 422 and "What comes out of a drawer is a part." in answer.content.decode()


def test_the_invoice_shows_what_it_took_and_its_credit_note_offers_to_put_it_back(as_counter, counter, part):
    sale = sell(counter, row(part, 2))
    move = Move.objects.get(why="sold")
    address = f"/sale/parts/{move.pk}/back/"
    page = as_counter.get(f"/invoice/{sale.label}/").content.decode()
    assert "Out of the drawers" in page and "make a credit note" in page and address not in page
    assert "Make a credit note" in as_counter.get(address).content.decode()
    note = credits.credit(sale, taken={sale.lines.get().pk: D(1)}, reason="One too many.", by=counter)
    assert address in as_counter.get(f"/invoice/{note.label}/").content.decode()
    refused = as_counter.send(address, {"quantity": "2", "words": "Unopened."})
    assert refused.status_code == 422 and "Make a credit note for it first" in refused.content.decode()
    assert 'value="Unopened."' in refused.content.decode()
    assert as_counter.send(address, {"quantity": "1"})["Location"] == f"/invoice/{sale.label}/"
    assert there(part) == 4
    assert sale.label in as_counter.get(f"/parts/{part.pk}/").content.decode()


def test_an_invoice_that_took_nothing_shows_no_drawers(as_counter, counter, shop):
    sale = sell(counter, Row("part", "Strap", D(1), D(9)))
    assert "Out of the drawers" not in as_counter.get(f"/invoice/{sale.label}/").content.decode()


def test_goods_are_named_in_as_many_queries_whatever_their_number(part, tube, django_assert_num_queries):
    parts = [PartFactory() for _ in range(6)]
    for keys in ([selling.key_of(part)], [selling.key_of(each) for each in [part, *parts]]):
        with django_assert_num_queries(2):
            assert len(selling.named([*keys, "part:0", "shelf:1", "\x00"])) == len(keys)


def test_what_a_sale_took_is_read_in_two_queries(part, tube, counter, django_assert_num_queries):
    sale = sell(counter, row(part, 2), row(tube, price="30"))
    with django_assert_num_queries(2):
        assert [(each.move.part, each.out, each.back) for each in selling.sold_on(sale)] == [
            (part, 2, 0),
            (tube.part, 1, 0),
        ]
