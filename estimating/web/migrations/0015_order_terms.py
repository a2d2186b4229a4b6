from decimal import Decimal

from django.db import migrations, models


def keep_terms(apps, schema_editor):
    """Orders placed before keep what their quote and supplier say in the plan as it stands now."""
    for build in apps.get_model("builds", "Build").objects.exclude(current=None).select_related("current"):
        document = build.current.document
        quotes = {row["id"]: row for row in document.get("quotes", [])}
        suppliers = {row["id"]: row for row in document.get("suppliers", [])}
        for order in apps.get_model("estimating", "Order").objects.filter(build=build, deposit_percent=None):
            quote, supplier = quotes.get(order.quote), suppliers.get(order.supplier, {})
            asked = (quote or {}).get("deposit_percent")
            order.deposit_percent = Decimal(str(supplier.get("deposit_percent", 0) if asked is None else asked))
            order.balance_days = supplier.get("balance_days", 0)
            order.terms = supplier.get("terms", "")
            if quote is not None:
                order.service = quote.get("freight", {}).get("service", "kerbside")
            order.save(update_fields=["deposit_percent", "balance_days", "terms", "service"])


class Migration(migrations.Migration):

    dependencies = [
        ('estimating', '0014_reports_on_products'),
    ]

    operations = [
        migrations.AddField(
            model_name='order',
            name='balance_days',
            field=models.PositiveIntegerField(default=0),
        ),
        migrations.AddField(
            model_name='order',
            name='deposit_percent',
            field=models.DecimalField(blank=True, decimal_places=4, max_digits=9, null=True),
        ),
        migrations.AddField(
            model_name='order',
            name='service',
            field=models.CharField(blank=True, max_length=60),
        ),
        migrations.AddField(
            model_name='order',
            name='terms',
            field=models.TextField(blank=True),
        ),
        migrations.RunPython(keep_terms, migrations.RunPython.noop),
    ]
