"""The page of stand-ins."""

from decimal import Decimal

import pytest

from inventory import stock
from inventory.values import read_part
from tests.factories import DrawerFactory, JobFactory, PartFactory


@pytest.fixture
def shelf(shop, bench):
    """Make parts of what people write, so many of each."""

    def put(*texts, quantity=4, **more):
        made = []
        for text in texts:
            part = PartFactory(name=text, drawer=DrawerFactory(), **{**read_part(text).facts, **more})
            stock.receive(part, quantity=quantity, cost_each=Decimal("1.20"), by=bench)
            made.append(part)
        return made

    return put


def titles(answer, where):
    return [each["title"] for each in answer.context[where]]


def test_the_empty_page_asks_what_is_missing(as_bench):
    assert "Write what is missing" in as_bench.get("/stand-ins/").content.decode()


def test_one_part_and_two_together_are_found(as_bench, shelf):
    shelf("47u 450V", "22u 500V", "100u 450V")
    answer = as_bench.get("/stand-ins/", {"q": "47u 400V", "within": "10"})
    assert titles(answer, "single") == ["47u 450V"]
    assert "2 × 22u 500V, in parallel" in titles(answer, "several")
    page = answer.content.decode()
    assert "on a terminal strip" in page
    assert "450 V" in page


def test_a_string_says_its_volts_and_its_balancing_resistors(as_bench, shelf):
    shelf("100u 450V electrolytic")
    answer = as_bench.get("/stand-ins/", {"q": "50u 700V", "within": "5"})
    (first,) = (each for each in answer.context["several"] if each["title"].endswith("in series"))
    assert first["rows"][0]["volts"] == "350 V of 450 V"
    assert (
        first["balancing"] == ["220 kΩ across 100u 450V electrolytic: 557 mW of heat, take 2 W or more"] * 2
    )


def test_what_is_put_aside_is_not_offered(as_bench, shelf, bench):
    from inventory import aside

    (part,) = shelf("47u 450V", quantity=1)
    aside.put_aside(part, JobFactory(), quantity=1, by=bench)
    assert not as_bench.get("/stand-ins/", {"q": "47u 400V"}).context["single"]


def test_from_a_part_its_own_values_are_asked_and_it_is_left_out(as_bench, shelf):
    gone, other = shelf("1M 1/2W", "1M 1W")
    answer = as_bench.get(f"/parts/{gone.pk}/stand-ins/", follow=True)
    assert titles(answer, "single") == ["1M 1W"]


def test_a_tube_is_found_by_its_other_name(as_bench, shelf):
    """12AX7 is ECC83: RETMA and Pro-Electron registrations of one tube."""
    shelf("ECC83", "EL34")
    answer = as_bench.get("/stand-ins/", {"q": "12AX7"})
    assert [part.name for part in answer.context["same"]] == ["ECC83"]


def test_a_diode_that_bears_as_much_will_do(as_bench, shelf):
    shelf("1N4007", volts=1000, amps=1)
    shelf("1N4004", volts=400, amps=1)
    shelf("1N4148", volts=100, amps=0.2)
    answer = as_bench.get("/stand-ins/", {"q": "1N4006 800V 1A"})
    assert [part.name for part in answer.context["same"]] == ["1N4007"]


def test_a_larger_fuse_is_no_stand_in(as_bench, shelf):
    shelf("fuse T2A 250V", "fuse T3.15A 250V", "fuse F2A 250V")
    answer = as_bench.get("/stand-ins/", {"q": "fuse T2A 250V"})
    assert [part.name for part in answer.context["same"]] == ["fuse T2A 250V"]


@pytest.mark.parametrize(
    ("asked", "sentence"),
    [
        ({"q": ""}, "Write what is missing"),
        ({"q": "47u"}, "a capacitor is not chosen without its volts"),
        ({"q": "1M"}, "turns into heat"),
        ({"q": "octal socket"}, "Stand-ins are worked out for"),
        ({"q": "47u 450V", "within": "95"}, "less than or equal to 90"),
        ({"q": "47u 450V", "volts": "4k7R"}, "can’t be read|can't be read"),
    ],
)
def test_what_can_not_be_asked_says_how_to_ask(as_bench, asked, sentence):
    import re

    answer = as_bench.get("/stand-ins/", asked)
    assert answer.status_code == 422
    assert re.search(sentence, answer.content.decode().replace("&#x27;", "'"))


def test_parts_whose_rating_nobody_wrote_down_are_counted(as_bench, shelf):
    shelf("47u")
    assert (
        "1 part of this kind was left out" in as_bench.get("/stand-ins/", {"q": "47u 400V"}).content.decode()
    )


def test_as_a_part_only_the_answers_are_sent(as_bench, shelf):
    shelf("47u 450V")
    answer = as_bench.part("/stand-ins/", {"q": "47u 400V"})
    assert "<html" not in answer.content.decode()
    assert 'id="stand-ins"' in answer.content.decode()


def test_the_page_takes_a_constant_number_of_queries(as_bench, shelf, django_assert_max_num_queries):
    shelf(*(f"{n}u 450V" for n in (10, 15, 22, 33, 47, 68, 100)))
    with django_assert_max_num_queries(10):
        as_bench.get("/stand-ins/", {"q": "47u 400V", "within": "20"})
