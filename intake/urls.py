"""The addresses of the counter and the bench."""

from django.urls import path

from intake import (
    views_bench,
    views_charges,
    views_comebacks,
    views_dropoff,
    views_estimates,
    views_jobs,
    views_labour,
    views_money,
    views_pad,
    views_papers,
    views_people,
    views_photos,
    views_pickup,
    views_queue,
)

urlpatterns: list = [
    # the sign-in pad
    path("pad/", views_pad.pad, name="pad"),
    path("pad/open/", views_pad.pad_open, name="pad-open"),
    path("pad/again/", views_pad.pad_again, name="pad-again"),
    path("pad/leave/", views_pad.pad_leave, name="pad-leave"),
    path("pad/done/", views_pad.pad_done, name="pad-done"),
    path("pad/<slug:step>/", views_pad.pad_step, name="pad-step"),
    # staff drop-off, and what waits from the pad
    path("drop-off/", views_dropoff.take_in, name="dropoff"),
    path("drop-off/shape/", views_dropoff.reshape, name="dropoff-shape"),
    path("drop-off/words/", views_dropoff.words, name="dropoff-words"),
    path("drop-off/find/", views_dropoff.find, name="dropoff-find"),
    path("drop-off/<int:pk>/", views_dropoff.done, name="dropoff-done"),
    path("visit/<int:pk>/signed/", views_dropoff.signed, name="visit-signed"),
    path("pad-entries/", views_dropoff.pad_entries, name="pad-entries"),
    path("pad-entries/<int:pk>/", views_dropoff.pad_entry, name="pad-entry"),
    path("pad-entries/<int:pk>/shape/", views_dropoff.pad_entry_reshape, name="pad-entry-shape"),
    path("pad-entries/<int:pk>/find/", views_dropoff.pad_entry_find, name="pad-entry-find"),
    path("pad-entries/<int:pk>/put-away/", views_dropoff.pad_entry_put_away, name="pad-entry-put-away"),
    path("pad-entries/<int:pk>/bring-back/", views_dropoff.pad_entry_bring_back, name="pad-entry-bring-back"),
    # people and gear
    path("people/", views_people.people, name="people"),
    path("people/new/", views_people.person_new, name="person-new"),
    path("people/<int:pk>/", views_people.person, name="person"),
    path("people/<int:pk>/edit/", views_people.person_edit, name="person-edit"),
    path("gear/<int:pk>/", views_people.gear, name="gear"),
    path("gear/<int:pk>/edit/", views_people.gear_edit, name="gear-edit"),
    # jobs and the queue
    path("jobs/", views_jobs.jobs, name="jobs"),
    path("reports/turnaround/", views_jobs.turnaround_report, name="turnaround"),
    path("reports/turnaround.csv", views_jobs.turnaround_csv, name="turnaround-csv"),
    path("queue/", views_queue.queue, name="queue"),
    path("queue/<str:claim>/", views_queue.queue_order, name="queue-order"),
    # the bench: one job
    path("t/<str:claim>/", views_bench.scan, name="scan"),
    path("my-timer/", views_labour.my_timer, name="my-timer"),
    path("job/<str:claim>/", views_bench.job, name="job"),
    path("job/<str:claim>/timeline/", views_bench.job_timeline, name="job-timeline"),
    path("job/<str:claim>/move/", views_bench.job_move, name="job-move"),
    path("job/<str:claim>/edit/", views_bench.job_edit, name="job-edit"),
    path("job/<str:claim>/note/", views_bench.job_note, name="job-note"),
    path("job/<str:claim>/finding/", views_bench.job_finding, name="job-finding"),
    path("job/<str:claim>/finding/<int:pk>/", views_bench.job_finding_edit, name="job-finding-edit"),
    path(
        "job/<str:claim>/finding/<int:pk>/strike/", views_bench.job_finding_strike, name="job-finding-strike"
    ),
    path(
        "job/<str:claim>/finding/<int:pk>/put-back/",
        views_bench.job_finding_put_back,
        name="job-finding-put-back",
    ),
    path("job/<str:claim>/plain-findings/", views_bench.job_plain_findings, name="job-plain-findings"),
    path("job/<str:claim>/photos/", views_photos.job_photos, name="job-photos"),
    path("job/<str:claim>/photos/<int:pk>/strike/", views_photos.job_photo_strike, name="job-photo-strike"),
    path(
        "job/<str:claim>/photos/<int:pk>/put-back/",
        views_photos.job_photo_put_back,
        name="job-photo-put-back",
    ),
    path("photo/<int:pk>/<str:size>/", views_photos.photo, name="photo"),
    path("job/<str:claim>/timer/", views_labour.job_timer_start, name="job-timer-start"),
    path("job/<str:claim>/timer/<int:pk>/stop/", views_labour.job_timer_stop, name="job-timer-stop"),
    path("job/<str:claim>/labour/", views_labour.job_labour, name="job-labour"),
    path("job/<str:claim>/labour/<int:pk>/", views_labour.job_labour_edit, name="job-labour-edit"),
    path("job/<str:claim>/labour/<int:pk>/strike/", views_labour.job_labour_strike, name="job-labour-strike"),
    path(
        "job/<str:claim>/labour/<int:pk>/put-back/",
        views_labour.job_labour_put_back,
        name="job-labour-put-back",
    ),
    path("job/<str:claim>/labour/<int:pk>/charge/", views_labour.job_labour_charge, name="job-labour-charge"),
    path("job/<str:claim>/charges/", views_charges.job_charges, name="job-charges"),
    path("job/<str:claim>/charge/", views_charges.job_charge, name="job-charge"),
    path("job/<str:claim>/charge/<int:pk>/", views_charges.job_charge_edit, name="job-charge-edit"),
    path(
        "job/<str:claim>/charge/<int:pk>/strike/", views_charges.job_charge_strike, name="job-charge-strike"
    ),
    path(
        "job/<str:claim>/charge/<int:pk>/put-back/",
        views_charges.job_charge_put_back,
        name="job-charge-put-back",
    ),
    # comebacks and warranty
    path("job/<str:claim>/warranty/", views_comebacks.job_warranty, name="job-warranty"),
    path("job/<str:claim>/comeback/", views_comebacks.job_comeback, name="job-comeback"),
    path("job/<str:claim>/comeback/undo/", views_comebacks.job_comeback_undo, name="job-comeback-undo"),
    path("job/<str:claim>/comeback/fault/", views_comebacks.job_comeback_fault, name="job-comeback-fault"),
    path("job/<str:claim>/comeback/cover/", views_comebacks.job_cover, name="job-cover"),
    path("job/<str:claim>/comeback/uncover/", views_comebacks.job_uncover, name="job-uncover"),
    # papers
    path("visit/<int:pk>/ticket/<slug:size>/", views_papers.ticket, name="ticket-paper"),
    path("visit/<int:pk>/ticket/<slug:size>/print/", views_papers.print_ticket, name="ticket-print"),
    path("visit/<int:pk>/tags/<slug:size>/", views_papers.visit_tags, name="visit-tags-paper"),
    path("visit/<int:pk>/tags/<slug:size>/print/", views_papers.print_visit_tags, name="visit-tags-print"),
    path("job/<str:claim>/tags/<slug:size>/", views_papers.job_tags, name="tags-paper"),
    path("job/<str:claim>/tags/<slug:size>/print/", views_papers.print_job_tags, name="tags-print"),
    # estimates, invoices, payments, pickup
    path("job/<str:claim>/money/", views_money.job_money, name="job-money"),
    path("job/<str:claim>/estimate/", views_estimates.estimate_new, name="job-estimate"),
    path("job/<str:claim>/estimate/rows/", views_estimates.estimate_rows, name="job-estimate-rows"),
    path("job/<str:claim>/estimate/<int:number>/", views_estimates.estimate, name="estimate"),
    path(
        "job/<str:claim>/estimate/<int:number>/answer/",
        views_estimates.estimate_answer,
        name="estimate-answer",
    ),
    path(
        "job/<str:claim>/estimate/<int:number>/paper/", views_estimates.estimate_paper, name="estimate-paper"
    ),
    path("job/<str:claim>/invoice/", views_money.invoice_new, name="job-invoice"),
    path("job/<str:claim>/payment/", views_money.payment_new, name="job-payment"),
    path("job/<str:claim>/ready-notice/", views_money.ready_notice, name="job-ready-notice"),
    path("job/<str:claim>/as-is/", views_money.take_home_as_is, name="take-home-as-is"),
    path("job/<str:claim>/pickup/", views_pickup.hand_back, name="job-pickup"),
    path("job/<str:claim>/went-home/", views_pickup.done, name="pickup-done"),
    path("job/<str:claim>/receipt/", views_pickup.pickup_paper, name="pickup-paper"),
    path("invoice/<str:label>/", views_money.invoice, name="invoice"),
    path("invoice/<str:label>/paper/", views_money.invoice_paper, name="invoice-paper"),
    path("payment/<int:pk>/", views_money.payment, name="payment"),
    path("payment/<int:pk>/receipt/", views_money.receipt_paper, name="receipt-paper"),
]
