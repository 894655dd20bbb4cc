"""Put the triggers up again: altering the table took them down."""

from django.db import migrations

from shop import keep


class Migration(migrations.Migration):
    dependencies = [("shop", "0003_terms_and_prices_in_depth")]

    operations = [keep.Forbid("shop_terms")]
