"""Let the database itself hold to what is written once."""

from django.db import migrations

from shop import keep


class Migration(migrations.Migration):
    dependencies = [("shop", "0001_initial")]

    operations = [
        keep.Forbid("shop_entry"),
        keep.Forbid("shop_terms"),
    ]
