"""The addresses of the stock."""

from django.urls import path  # noqa: F401

urlpatterns: list = [
    # parts, drawers, the ledger
    # using, giving back, putting aside
    # counting rounds, labels
    # suppliers and orders
    # stand-ins, tubes and sets
    # planning
    # bench gear
    # files in and out
]
