"""The addresses of the stock."""

from django.urls import path

from inventory import views_bench

urlpatterns: list = [
    # parts, drawers, the ledger
    # using, giving back, putting aside
    # counting rounds, labels
    # suppliers and orders
    # stand-ins, tubes and sets
    # planning
    # bench gear
    path("bench-gear/", views_bench.bench_gear, name="bench-gear"),
    path("bench-gear/new/", views_bench.bench_gear_new, name="bench-gear-new"),
    path("bench-gear/<int:pk>/", views_bench.bench_gear_edit, name="bench-gear-edit"),
    path("bench-gear/<int:pk>/lend/", views_bench.bench_gear_lend, name="bench-gear-lend"),
    path("bench-gear/<int:pk>/put-away/", views_bench.bench_gear_put_away, name="bench-gear-put-away"),
    path("bench-gear/<int:pk>/bring-back/", views_bench.bench_gear_bring_back, name="bench-gear-bring-back"),
    path("bench-gear/back/<int:pk>/", views_bench.bench_gear_back, name="bench-gear-back"),
    path("bench-gear/meter/<int:pk>/lend/", views_bench.bench_meter_lend, name="bench-meter-lend"),
    # files in and out
]
