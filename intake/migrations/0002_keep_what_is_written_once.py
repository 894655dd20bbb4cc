"""Let the database itself hold to what is written once."""

from django.db import migrations

from shop import keep


class Migration(migrations.Migration):
    dependencies = [("intake", "0001_initial")]

    operations = [
        keep.Forbid("intake_answer"),
        keep.Forbid("intake_invoice"),
        keep.Forbid("intake_invoiceline"),
        keep.Forbid("intake_payment"),
        keep.Forbid("intake_pickup"),
        keep.Forbid("intake_readynotice"),
        keep.Forbid("intake_signature"),
    ]
