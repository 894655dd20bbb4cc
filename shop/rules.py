"""What the owner decides: the shop's own data, its tax rates, its terms."""

import datetime as dt
from decimal import Decimal
from typing import Any

from django.db import transaction
from django.db.models import Model

from shop import timeline
from shop.errors import Refused
from shop.models import Shop, Staff, TaxRate, Terms


@transaction.atomic
def change_shop(*, values: dict[str, Any], by: Staff) -> Shop:
    """Change the shop's data; nothing is written where nothing differs."""
    shop = Shop.objects.select_for_update().get(pk=1)
    before = _labelled(shop, values)
    for name, value in values.items():
        setattr(shop, name, value)
    after = _labelled(shop, values)
    if before != after:
        shop.full_clean()
        shop.save()
        timeline.write("shop", by=by, words="changed the shop's settings", before=before, after=after)
    return shop


@transaction.atomic
def write_terms(*, values: dict[str, Any], by: Staff) -> Terms:
    """Make a new version of the terms, if they differ from the present one. Jobs keep what they signed."""
    now = Terms.current()
    if now is not None and all(getattr(now, name) == value for name, value in values.items()):
        return now
    terms = Terms(version=now.version + 1 if now else 1, made_by=by, **values)
    terms.full_clean()
    terms.save()
    before = _labelled(now, values) if now else {}
    timeline.write(
        "shop",
        by=by,
        words=f"wrote version {terms.version} of the terms",
        before=before,
        after=_labelled(terms, values),
    )
    return terms


@transaction.atomic
def add_rate(*, values: dict[str, Any], by: Staff) -> TaxRate:
    """Add a tax rate that holds from a day on."""
    rate = TaxRate(**values)
    rate.full_clean()
    rate.save()
    timeline.write("shop", by=by, words=f"added the tax {rate}", after={"from": rate.valid_from})
    return rate


@transaction.atomic
def end_rate(rate: TaxRate, *, last_day: dt.date, by: Staff) -> None:
    """Let a rate hold until a day. One that ends before it begins never held: it is taken off the list.

    What was billed with it keeps it: bills hold their own copy.

    Raises:
        Refused: the rate ended already, before that day.
    """
    if rate.valid_to is not None and rate.valid_to < last_day:
        raise Refused("This rate ended before that day. Add a new one that begins when it should hold again.")
    if last_day < rate.valid_from:
        timeline.write("shop", by=by, words=f"took off the tax {rate} before it held")
        rate.delete()
        return
    before, rate.valid_to = rate.valid_to, last_day
    rate.save(update_fields=["valid_to"])
    timeline.write(
        "shop", by=by, words=f"ended the tax {rate}", before={"until": before}, after={"until": last_day}
    )


def _labelled(row: Model, names: Any) -> dict[str, Any]:
    """The row's values as the timeline shows them, by the words that the forms use."""
    shown = {}
    for name in names:
        field = row._meta.get_field(name)
        value = getattr(row, name)
        if isinstance(value, bool):
            value = "yes" if value else "no"
        elif isinstance(value, Decimal):
            value = f"{value.normalize():f}"
        elif field.choices:
            value = dict(field.flatchoices).get(value, value)
        shown[field.verbose_name] = value
    return shown
