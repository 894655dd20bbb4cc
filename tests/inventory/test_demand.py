"""What the shop's own moves say: who counts as demand, lead times, reorder points, money asleep, the queue's needs."""

import datetime as dt
from collections import defaultdict
from decimal import Decimal
from random import Random
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from scipy import stats

from intake import billing
from inventory import demand, planning, stock
from inventory.models import Aside, Move, Offer, Order, OrderLine, Want
from tests.factories import GearFactory, JobFactory, PartFactory, StaffFactory, SupplierFactory
from tests.intake import bills

pytestmark = pytest.mark.django_db
ZONE = ZoneInfo("America/New_York")
TODAY = dt.date(2026, 11, 25)
D = Decimal
Why = Move.Why


def days_ago(days: int, hour: int = 12) -> dt.datetime:
    return dt.datetime.combine(TODAY - dt.timedelta(days=days), dt.time(hour), tzinfo=ZONE)


def move(part: Any, why: str, quantity: int, days: int, **rest: Any) -> Move:
    """A move of some days ago, as the ledger has it."""
    part.quantity += quantity
    type(part).objects.filter(pk=part.pk).update(quantity=part.quantity)
    rest = {"words": "as it was", "by": rest.pop("by", None) or StaffFactory(), **rest}
    return Move.objects.create(
        part=part, why=why, quantity=quantity, left=part.quantity, at=days_ago(days), **rest
    )


def use(part: Any, days: int, pieces: int = 1, job: Any = None) -> Move:
    return move(part, Why.USED, -pieces, days, job=job or JobFactory())


def plan_of(part: Any, service: float = 0.95) -> demand.Plan:
    (plan,) = demand.plans(TODAY, ZONE, service, [part.pk])
    return plan


def wanted(part: Any) -> list[tuple[int, int]]:
    """How many days ago which jobs took how many pieces, the last first."""
    use = demand.uses(TODAY, ZONE)[part.pk]
    return sorted(zip(use.ago, use.pieces, strict=True))


@pytest.fixture
def part(shop) -> Any:
    return PartFactory()


# --- what counts as demand


def test_what_jobs_took_is_demand_by_the_day_they_took_it(part) -> None:
    move(part, Why.RECEIVED, 10, 100)
    use(part, 70, 2)
    use(part, 3, 4)
    assert wanted(part) == [(3, 4), (70, 2)]
    found = demand.uses(TODAY, ZONE)[part.pk]
    assert found.since == TODAY - dt.timedelta(100)
    assert found.history == [0, 2, 0, 4]
    assert found.a_job == 3


def test_two_takes_of_one_job_are_one_demand(part) -> None:
    job = JobFactory()
    use(part, 5, 1, job)
    use(part, 4, 3, job)
    assert wanted(part) == [(5, 4)]


def test_what_was_given_back_is_taken_off(part) -> None:
    job = JobFactory()
    use(part, 5, 4, job)
    move(part, Why.RETURNED, 1, 4, job=job)
    assert wanted(part) == [(5, 3)]


def test_a_use_that_was_undone_is_no_demand(part) -> None:
    job = JobFactory()
    wrong = use(part, 5, 1, job)
    move(part, Why.USED, 1, 5, job=job, undoes=wrong)
    assert demand.uses(TODAY, ZONE) == {}


def test_what_was_sold_is_demand_unless_it_was_undone(part) -> None:
    wrong = move(part, Why.SOLD, -2, 9)
    move(part, Why.SOLD, 2, 9, undoes=wrong)
    move(part, Why.SOLD, -1, 2)
    move(part, Why.SOLD, -1, 2)
    assert wanted(part) == [(2, 1)] * 2


def test_what_came_back_from_a_sale_is_taken_off(part, shop, counter) -> None:
    line = billing.issue_invoice(bills.repaired(JobFactory(), counter), by=counter).lines.first()
    move(part, Why.SOLD, -3, 9, sale_line=line)
    move(part, Why.RETURNED, 2, 4, sale_line=line)
    assert wanted(part) == [(9, 1)]


@pytest.mark.parametrize("why", [Why.COUNTED, Why.SCRAPPED, Why.SENT_BACK, Why.HARVESTED, Why.RECEIVED])
def test_other_moves_are_no_demand(part, why) -> None:
    move(part, why, -1, 5)
    assert demand.uses(TODAY, ZONE) == {}


def test_what_is_three_years_ago_says_nothing_any_more(part) -> None:
    use(part, demand.PERIOD * demand.MOST_PERIODS)
    assert demand.uses(TODAY, ZONE) == {}
    use(part, demand.PERIOD * demand.MOST_PERIODS - 1)
    (plan,) = demand.plans(TODAY, ZONE)
    assert plan.history == [1] + [0] * (demand.MOST_PERIODS - 1)


def test_the_day_is_the_shops_own(part) -> None:
    at = dt.datetime(2026, 11, 25, 3, 0, tzinfo=dt.UTC)  # ten in the evening before, in New York
    Move.objects.create(
        part=part,
        why=Why.USED,
        quantity=-1,
        left=-1,
        words="late",
        at=at,
        job=JobFactory(),
        by=StaffFactory(),
    )
    assert wanted(part) == [(1, 1)]


def plainly_wanted(zone: ZoneInfo) -> dict[int, list[tuple[int, int]]]:
    """Move by move: how many days ago how many pieces were wanted of each part."""
    begin = dt.datetime.combine(
        TODAY - dt.timedelta(demand.PERIOD * demand.MOST_PERIODS - 1), dt.time.min, tzinfo=zone
    )
    moves = [move for move in Move.objects.order_by("at") if move.at >= begin]
    undone = {move.undoes_id for move in moves}
    taken: dict[Any, list[Move]] = defaultdict(list)
    for each in moves:
        if each.why in (Why.USED, Why.RETURNED) and each.job_id:
            taken[each.part_id, each.job_id].append(each)
        if each.why == Why.SOLD and not each.undoes_id and each.pk not in undone:
            taken[each.part_id, f"sale {each.pk}"].append(each)
    wanted = defaultdict(list)
    for (part, _), of in taken.items():
        net = -sum(each.quantity for each in of)
        if net > 0:
            wanted[part].append(((TODAY - of[0].at.astimezone(zone).date()).days, net))
    return {part: sorted(jobs) for part, jobs in wanted.items()}


@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize("zone", [ZONE, ZoneInfo("Australia/Lord_Howe"), ZoneInfo("UTC")], ids=str)
def test_all_parts_read_at_once_are_as_read_move_by_move(shop, seed, zone) -> None:
    """Days of the shop's own zone, that with 23 hours and that with 25 among them."""
    dice, by = Random(seed), StaffFactory()
    parts, jobs = [PartFactory() for _ in range(6)], [JobFactory() for _ in range(8)]
    last = days_ago(0, 23)
    for _ in range(200):
        part, job, pieces = dice.choice(parts), dice.choice(jobs), dice.randint(1, 4)
        why = dice.choice([Why.USED, Why.USED, Why.RETURNED, Why.SOLD, Why.RECEIVED, Why.COUNTED])
        made = Move.objects.create(
            part=part,
            why=why,
            quantity=pieces if why in (Why.RETURNED, Why.RECEIVED) else -pieces,
            left=0,
            job=job if why in (Why.USED, Why.RETURNED) else None,
            at=last - dt.timedelta(minutes=dice.randint(0, 1200 * 24 * 60)),
            by=by,
        )
        if why in (Why.USED, Why.SOLD) and dice.random() < 0.2:
            at = min(made.at + dt.timedelta(days=1), last)
            Move.objects.create(
                part=part, why=why, quantity=pieces, left=0, job=made.job, at=at, by=by, undoes=made
            )
    found = demand.uses(TODAY, zone)
    read = {key: sorted(zip(use.ago, use.pieces, strict=True)) for key, use in found.items()}
    assert read == plainly_wanted(zone)
    for key, use in found.items():
        first = Move.objects.filter(part=key).earliest("at").at.astimezone(zone).date()
        assert use.since == max(first, TODAY - dt.timedelta(demand.PERIOD * demand.MOST_PERIODS - 1))
        alone = demand.uses(TODAY, zone, [key])[key]
        assert (alone.since, sorted(alone.ago)) == (use.since, sorted(use.ago))


# --- planning from it


def test_a_part_with_many_demands_is_planned_by_tsb_and_its_jobs_sizes(part) -> None:
    """The forecast is TSB's; jobs are Poisson, their pieces as the shop's jobs took them: scipy adds them up."""
    move(part, Why.RECEIVED, 100, 360)
    for days in (340, 290, 250, 180, 130, 70, 20):
        use(part, days, 2)
    plan = plan_of(part)
    assert not plan.is_seldom
    forecast = planning.tsb(plan.history)
    assert plan.a_month == forecast.per_period
    jobs = stats.poisson(forecast.per_period / 2 * demand.NO_SUPPLIER / demand.PERIOD)
    assert plan.planned_at == 2 * jobs.ppf(0.95)
    assert plan_of(part, 0.999).planned_at == 2 * jobs.ppf(0.999)


def test_a_part_with_few_demands_is_planned_wider(part) -> None:
    move(part, Why.RECEIVED, 10, 299)
    use(part, 200)
    use(part, 100)
    use(part, 10)
    plan = plan_of(part, 0.99)
    months = 299 / demand.PERIOD
    judge = stats.nbinom(3.5, months / (months + demand.NO_SUPPLIER / demand.PERIOD))
    assert plan.is_seldom
    assert plan.planned_at == judge.ppf(0.99)
    assert plan.a_month == pytest.approx(3.5 / months)


def test_a_part_used_once_is_not_bought_again_by_itself(part) -> None:
    use(part, 10)
    assert plan_of(part).planned_at is None
    assert plan_of(part).why_not == "used once"
    assert demand.reorder_points(TODAY, ZONE) == {}


def test_a_part_not_used_for_a_year_is_not_bought_again_by_itself(part) -> None:
    for days in (900, 700, 600, 500, 400, 366):
        use(part, days)
    assert plan_of(part).why_not == "not used for a year"
    assert not plan_of(part).is_due
    use(part, 365)
    assert plan_of(part).why_not == ""


def test_bulk_goods_are_left_to_the_shop(part) -> None:
    for days in range(1, 8):
        use(part, days * 20, 9000)
    plan = plan_of(part)
    assert plan.planned_at is None
    assert plan.why_not.startswith("bulk")


def test_what_the_shop_wrote_down_counts_before_what_is_planned(part) -> None:
    use(part, 10)
    use(part, 40)
    part.keep = 7
    part.save()
    assert plan_of(part).reorder_at == 7
    assert part.pk not in demand.reorder_points(TODAY, ZONE)


def test_orders_list_takes_the_reorder_points(part) -> None:
    use(part, 10)
    use(part, 40)
    assert demand.reorder_points(TODAY, ZONE) == {part.pk: plan_of(part).planned_at}


def test_stock_is_what_is_free_and_coming_less_what_jobs_wait_for(part, owner) -> None:
    stock.receive(part, quantity=9, cost_each=D(2), by=owner)
    job = JobFactory()
    use_job = JobFactory()
    stock.use_on_job(part, use_job, quantity=1, by=owner, charge=False)
    Aside.objects.create(part=part, job=job, quantity=2, by=owner)
    order = Order.objects.create(supplier=SupplierFactory(), number=1, by=owner)
    OrderLine.objects.create(order=order, part=part, quantity=10, came=4, price=1)
    OrderLine.objects.create(order=order, part=part, quantity=3, price=1, will_not_come=True)
    Want.objects.create(part=part, job=JobFactory(), quantity=5, came=1, by=owner)
    (plan,) = demand.plans(stock_day(), ZONE)
    assert (plan.part.is_free, plan.coming, plan.wanted, plan.stock) == (6, 6, 4, 8)


def stock_day() -> dt.date:
    """The day on which moves made by the verbs fall."""
    return Move.objects.latest("at").at.astimezone(ZONE).date()


# --- how long it takes to come


def test_without_a_supplier_the_lead_time_is_a_guess_and_says_so(part) -> None:
    use(part, 10)
    assert plan_of(part).lead == demand.Lead(14, "no supplier yet: a guess")


def test_what_is_said_of_a_part_counts_before_what_is_said_of_the_supplier(part) -> None:
    use(part, 10)
    offer = Offer.objects.create(part=part, supplier=SupplierFactory(lead_days=9), price=3)
    assert plan_of(part).lead.days == 9
    offer.lead_days = 4
    offer.save()
    assert plan_of(part).lead.days == 4


def test_how_long_parcels_took_counts_before_what_the_supplier_says(part, owner) -> None:
    supplier = SupplierFactory(lead_days=5)
    Offer.objects.create(part=part, supplier=supplier, price=3)
    for number, took in enumerate((10, 20, 30), 1):
        if number == 3:
            assert plan_of(part).lead.days == 5  # two parcels are too few
        sent = days_ago(100)
        order = Order.objects.create(supplier=supplier, number=number, by=owner, sent_at=sent)
        line = OrderLine.objects.create(order=order, part=part, quantity=5, price=1)
        move(part, Why.RECEIVED, 5, 100 - took, order_line=line)
        use(part, 50 - number)
    assert plan_of(part).lead.days == pytest.approx(20)


def test_the_dearest_offer_is_not_where_it_is_ordered(part) -> None:
    use(part, 10)
    Offer.objects.create(part=part, supplier=SupplierFactory(), number="a", price=10, pack=1)
    cheap = Offer.objects.create(part=part, supplier=SupplierFactory(), number="b", price=20, pack=10)
    Offer.objects.create(part=part, supplier=SupplierFactory(is_in_use=False), number="c", price=1)
    assert plan_of(part).offer.pk == cheap.pk


# --- the best use of a sum


def test_only_what_was_used_this_year_and_has_a_price_is_bought(part) -> None:
    unpriced, old = PartFactory(), PartFactory(cost=3)
    part.cost = D("2.50")
    part.save()
    for each, days in ((part, 10), (unpriced, 10), (old, 400)):
        use(each, days)
        use(each, days + 30)
    (item,) = demand.items(demand.plans(TODAY, ZONE))
    assert (item.key, item.price, item.pack, item.stock) == (part.pk, D("2.50"), 1, -2)


# --- money asleep


def test_a_part_sleeps_since_its_last_move_and_counting_it_does_not_wake_it(part) -> None:
    part.cost = D(3)
    part.save()
    move(part, Why.RECEIVED, 4, 200)
    move(part, Why.COUNTED, 1, 3)
    (sleeper,) = demand.asleep(TODAY, ZONE)
    assert sleeper.since == TODAY - dt.timedelta(200)
    assert sleeper.months == 6
    assert sleeper.money == 15


def test_a_use_that_was_undone_does_not_wake_a_part(part) -> None:
    move(part, Why.RECEIVED, 4, 200)
    wrong = use(part, 5)
    move(part, Why.USED, 1, 5, undoes=wrong)
    assert demand.asleep(TODAY, ZONE)[0].since == TODAY - dt.timedelta(200)


def test_an_empty_drawer_and_a_loose_part_have_no_money_asleep(part) -> None:
    PartFactory(is_loose=True, level="plenty")
    move(part, Why.RECEIVED, 4, 200)
    use(part, 100, 4)
    assert demand.asleep(TODAY, ZONE) == []


def test_most_money_comes_first(shop) -> None:
    cheap, dear = PartFactory(cost=1), PartFactory(cost=9)
    for each in (cheap, dear):
        move(each, Why.RECEIVED, 2, 100)
    assert [each.part for each in demand.asleep(TODAY, ZONE)] == [dear, cheap]


# --- what the queue will need


def repaired(used: dict, days: int = 100, **gear: Any) -> Any:
    job = JobFactory(gear=GearFactory(**gear), state="collected", ready_at=days_ago(days - 1))
    for part, pieces in used.items():
        use(part, days, pieces, job)
    return job


def test_the_queue_needs_what_jobs_on_the_same_model_used(part) -> None:
    """Two of four such jobs took a pair: binomial, as scipy has it."""
    repaired({part: 2})
    repaired({part: 2})
    repaired({})
    repaired({}, model="meridian  50")
    for _ in range(3):
        JobFactory(gear=GearFactory(), state="in-line")
    (need,) = demand.queue_needs().needs
    assert need.expected == pytest.approx(3)
    assert len(need.jobs) == 3
    assert need.behind == 2
    assert need.is_same_model
    part.quantity = 2
    type(part).objects.filter(pk=part.pk).update(quantity=2)
    (need,) = demand.queue_needs().needs
    assert need.short == pytest.approx(stats.binom(3, 0.5).sf(1))


def test_where_the_model_is_new_the_same_kind_of_gear_tells(part) -> None:
    repaired({part: 1})
    repaired({part: 1})
    JobFactory(gear=GearFactory(model="Harbor 22"), state="in-line")
    assert demand.queue_needs().needs == []
    assert len(demand.queue_needs().unlike) == 1
    repaired({})
    (need,) = demand.queue_needs().needs
    assert need.expected == pytest.approx(2 / 3)
    assert not need.is_same_model


def test_a_job_that_has_its_part_needs_none_more(part, owner) -> None:
    repaired({part: 1})
    had, held, waits = (JobFactory(state="on-the-bench") for _ in range(3))
    use(part, 1, 1, had)
    Aside.objects.create(part=part, job=held, quantity=1, by=owner)
    Want.objects.create(part=part, job=waits, quantity=1, by=owner)
    assert demand.queue_needs().needs == []
    JobFactory(state="tagged-in")
    (need,) = demand.queue_needs().needs
    assert len(need.jobs) == 1


@pytest.mark.parametrize("state", ["soak-test", "ready", "collected", "left-behind", "going-home-as-is"])
def test_a_job_past_its_repair_needs_nothing(part, state) -> None:
    repaired({part: 1})
    JobFactory(state=state)
    assert demand.queue_needs().jobs == 0


def test_jobs_from_before_there_was_a_ledger_say_nothing(part) -> None:
    repaired({}, days=500)
    repaired({part: 1}, days=100)
    JobFactory(state="in-line")
    (need,) = demand.queue_needs().needs
    assert need.expected == 1


def test_an_empty_shop_needs_nothing(shop) -> None:
    assert demand.queue_needs() == demand.Queue(0, [], [])
    assert demand.plans(TODAY, ZONE) == []
    assert demand.asleep(TODAY, ZONE) == []


# --- the same few queries, however big the shop


def test_a_bigger_shop_is_read_with_as_many_queries(shop, owner) -> None:
    def stocked(count: int) -> None:
        for _ in range(count):
            part = PartFactory(cost=2)
            Offer.objects.create(part=part, supplier=SupplierFactory(), price=3)
            move(part, Why.RECEIVED, 9, 200, by=owner)
            repaired({part: 1})
            JobFactory(gear=GearFactory(), state="in-line")

    def asked() -> int:
        with CaptureQueriesContext(
            connection,
        ) as queries:
            demand.plans(TODAY, ZONE)
            demand.asleep(TODAY, ZONE)
            demand.queue_needs()
        return len(queries)

    stocked(2)
    few = asked()
    stocked(5)
    assert asked() == few
    assert few <= 20
