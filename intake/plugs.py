"""What the counter and the bench plug into the ground floor's sockets."""

from typing import Any

from intake import (
    finders,
    front,
    gates,
    pickup,
    spending,
    views_calling,
    views_cashup,
    views_comebacks,
    views_dropoff,
    views_estimates,
    views_money,
    views_sale,
    views_storage,
)
from intake.reports.catalogue import REPORTS
from shop import sockets

sockets.gates.plug(sockets.Gate("timer stopped", gates.timer_stopped, order=10))
sockets.gates.plug(sockets.Gate("estimate made", gates.estimate_made, order=20))
sockets.gates.plug(sockets.Gate("owner answered", gates.owner_answered, order=30))
sockets.gates.plug(sockets.Gate("within what was agreed", spending.within_what_was_agreed, order=40))
sockets.gates.plug(sockets.Gate("money settled", pickup.money_settled, order=50))

# the search box
sockets.finders.plug(sockets.Finder("Jobs", "see jobs", finders.find_jobs, finders.job_named_whole, order=10))
sockets.finders.plug(sockets.Finder("People", "see people", finders.find_people, order=20))
sockets.finders.plug(sockets.Finder("Gear", "see people", finders.find_gear, order=30))
sockets.finders.plug(sockets.Finder("Invoices", "see jobs", finders.find_invoices, order=40))

# the front page
for name, context, order in (
    ("standing", front.counts, 1),
    ("at work", front.on_the_bench, 20),
    ("due", front.due_this_week, 30),
    ("waiting", front.who_waits, 40),
    ("going home", front.going_home, 50),
):
    template = f"intake/_front_{name.replace(' ', '_')}.html"
    sockets.panels.plug(sockets.Panel(f"front {name}", "front page", "see jobs", template, context, order))
sockets.panels.plug(
    sockets.Panel(
        "waiting from the pad",
        "front page",
        "take in gear",
        "intake/_front_pad_waiting.html",
        views_dropoff.waiting_panel,
        order=5,
    )
)

sockets.panels.plug(
    sockets.Panel(
        "till", "front page", "cash up", "intake/_front_till.html", views_cashup.till_panel, order=60
    )
)

sockets.panels.plug(
    sockets.Panel(
        "calls", "front page", "see jobs", "intake/_front_calls.html", views_calling.front_panel, order=10
    )
)

# a job's page
sockets.panels.plug(
    sockets.Panel(
        "agreed",
        "job",
        "see jobs",
        "intake/_agreed_panel.html",
        views_estimates.agreed_panel,
        order=55,
        icon="sign",
    )
)
sockets.panels.plug(
    sockets.Panel("money", "job", "see jobs", "intake/_money_panel.html", views_money.money_panel, order=60)
)
sockets.panels.plug(
    sockets.Panel(
        "warranty",
        "job",
        "see jobs",
        "intake/_job_warranty.html",
        views_comebacks.warranty_panel,
        order=70,
        icon="ok",
    )
)

# gear that isn't collected
for name, place, template, context, order in (
    ("notices due", "front page", "intake/_front_notices_due.html", views_storage.due_panel, 45),
    ("storage", "job", "intake/_storage_panel.html", views_storage.storage_panel, 70),
    ("address", "person", "intake/_person_address.html", views_storage.address_panel, 10),
):
    sockets.panels.plug(sockets.Panel(name, place, "see jobs", template, context, order, "left-behind"))

# a person's page
sockets.panels.plug(
    sockets.Panel(
        "bought over the counter",
        "person",
        "see jobs",
        "intake/_person_sales.html",
        views_sale.person_panel,
        order=40,
    )
)

# reports
for place, report in enumerate(REPORTS):
    sockets.reports.plug(
        sockets.Report(report.slug, report.title, report.words, report.url_name, report.act, order=10 + place)
    )
sockets.reports.plug(
    sockets.Report(
        "cash-up",
        "Cash-up",
        "The till counted, day by day, and what differed.",
        "cash-up",
        "cash up",
        order=30,
    )
)


# the invented shop
def _load_demo(clock: Any) -> None:
    from intake import demo  # draws and tells for seconds: only where somebody asks for it

    demo.load(clock)


sockets.demo_parts.plug(sockets.DemoPart("jobs", _load_demo, order=20))
