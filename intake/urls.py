"""The addresses of the counter and the bench."""

urlpatterns: list = [
    # the sign-in pad
    # staff drop-off, and what waits from the pad
    # people and gear
    # jobs and the queue
    # the bench: one job
    # papers
    # estimates, invoices, payments, pickup
]
