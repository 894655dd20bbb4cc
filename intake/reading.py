"""What a page reads of jobs once, for all that it shows of them.

`whole` reads it and leaves it on the jobs; the functions below return what was left there, and ask the database
where nothing was. A job that a verb holds never has anything left on it: it comes from the database, locked, and
what stands on it is asked anew each time.
"""

from collections.abc import Callable, Iterable
from typing import Any

from django.db.models import Prefetch, QuerySet, prefetch_related_objects

from intake.models import Charge, Estimate, Invoice, Job, Payment
from shop.errors import NotAllowedYet
from shop.models import Shop


def whole(job: Job, *, shop: Shop) -> None:
    """Read the money and the estimates of a job whose page is shown, in four queries."""
    job.shop_read = shop
    prefetch_related_objects(
        [job],
        Prefetch("charges", _charges(), to_attr="charges_read"),
        Prefetch("estimates", _estimates(), to_attr="estimates_read"),
        Prefetch("invoices", Invoice.objects.order_by("pk"), to_attr="invoices_read"),
        Prefetch("payments", Payment.objects.select_related("by"), to_attr="payments_read"),
    )


def with_shop(job: Job) -> Job:
    """Leave the shop on a job that a verb holds: within its transaction it is asked for once, its tax rates too."""
    job.shop_read = the_shop()
    return job


def agreed(jobs: Iterable[Job], *, shop: Shop) -> None:
    """Read what was charged and what was agreed on many jobs, in two queries."""
    jobs = list(jobs)
    for job in jobs:
        job.shop_read = shop
    prefetch_related_objects(
        jobs,
        Prefetch("charges", _charges(), to_attr="charges_read"),
        Prefetch("estimates", _estimates(), to_attr="estimates_read"),
    )


def is_whole(job: Job) -> bool:
    return "payments_read" in job.__dict__


def the_shop() -> Shop:
    shop = Shop.current()
    if shop is None:
        raise NotAllowedYet("The shop isn't set up yet. Do the first start.")
    return shop


def shop_of(job: Job) -> Shop:
    """The shop, as it was read with the job, or as it is now."""
    return getattr(job, "shop_read", None) or the_shop()


def charges(job: Job) -> list[Charge]:
    """All charges of a job, those that were struck out too, each with its invoice."""
    return _left(job, "charges_read", lambda: _charges().filter(job=job))


def standing(job: Job) -> list[Charge]:
    return [charge for charge in charges(job) if charge.struck_at is None]


def to_invoice(job: Job) -> list[Charge]:
    return [charge for charge in standing(job) if charge.invoice_id is None]


def estimates(job: Job) -> list[Estimate]:
    """All estimates of a job, the latest first, each with its answer."""
    return _left(job, "estimates_read", lambda: _estimates().filter(job=job))


def latest_estimate(job: Job) -> Estimate | None:
    return next(iter(estimates(job)), None)


def invoices(job: Job) -> list[Invoice]:
    return _left(job, "invoices_read", lambda: Invoice.objects.filter(job=job).order_by("pk"))


def payments(job: Job) -> list[Payment]:
    return _left(job, "payments_read", lambda: Payment.objects.filter(job=job).select_related("by"))


def _charges() -> QuerySet[Charge]:
    return Charge.objects.select_related("invoice")


def _estimates() -> QuerySet[Estimate]:
    return Estimate.objects.select_related("answer__signature")


def _left(job: Job, name: str, ask: Callable[[], Iterable[Any]]) -> list[Any]:
    return job.__dict__[name] if name in job.__dict__ else list(ask())
