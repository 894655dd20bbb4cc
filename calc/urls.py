"""The addresses of what is measured and computed."""

from django.urls import path

from calc import (
    views,
    views_capture,
    views_lists,
    views_meters,
    views_report,
    views_runs,
    views_safety,
    views_safety_year,
    views_unsafe,
    views_worksheets,
)

urlpatterns: list = [
    # readings
    path("job/<str:claim>/readings/", views.job_readings, name="job-readings"),
    path("job/<str:claim>/reading/", views.job_reading, name="job-reading"),
    path("job/<str:claim>/reading/<int:pk>/strike/", views.job_reading_strike, name="job-reading-strike"),
    path(
        "job/<str:claim>/reading/<int:pk>/put-back/", views.job_reading_put_back, name="job-reading-put-back"
    ),
    # worksheets
    path("worksheets/", views_worksheets.worksheets, name="worksheets"),
    path("tube-table/", views_worksheets.tube_table, name="tube-table"),
    path("worksheets/<slug:slug>/", views_worksheets.worksheet, name="worksheet"),
    path("worksheets/<slug:slug>/answer/", views_worksheets.worksheet_answer, name="worksheet-answer"),
    path("worksheets/<slug:slug>/ours/", views_worksheets.worksheet_ours, name="worksheet-ours"),
    path("job/<str:claim>/worksheets/", views_worksheets.job_worksheets, name="job-worksheets"),
    path("job/<str:claim>/worksheets/paper/", views_worksheets.worksheets_paper, name="worksheets-paper"),
    path("job/<str:claim>/worksheets/<slug:slug>/", views_worksheets.job_worksheet, name="job-worksheet"),
    path(
        "job/<str:claim>/worksheets/<slug:slug>/answer/",
        views_worksheets.job_worksheet_answer,
        name="job-worksheet-answer",
    ),
    path(
        "job/<str:claim>/worksheets/<slug:slug>/keep/",
        views_worksheets.job_worksheet_keep,
        name="job-worksheet-keep",
    ),
    path("kept-worksheet/<int:pk>/", views_worksheets.kept_worksheet, name="kept-worksheet"),
    path(
        "kept-worksheet/<int:pk>/beside/<int:other>/",
        views_worksheets.compare_worksheets,
        name="compare-worksheets",
    ),
    path("kept-worksheet/<int:pk>/strike/", views_worksheets.worksheet_strike, name="worksheet-strike"),
    # recordings
    path("recording/", views_capture.recording, name="recording"),
    path("recording/tone.wav", views_capture.tone_file, name="test-tone"),
    path("recording/sweep.wav", views_capture.sweep_file, name="test-sweep"),
    path("job/<str:claim>/recording/", views_capture.job_recording, name="job-recording"),
    # meters
    path("meters/", views_meters.meter_list, name="meters"),
    path("meters/new/", views_meters.meter_new, name="meter-new"),
    path("meters/<int:pk>/", views_meters.meter_edit, name="meter-edit"),
    path("meters/<int:pk>/put-away/", views_meters.meter_put_away, name="meter-put-away"),
    path("meters/<int:pk>/bring-back/", views_meters.meter_bring_back, name="meter-bring-back"),
    # checklists
    path("checklists/", views_lists.checklists, name="checklists"),
    path("checklists/new/", views_lists.checklist_new, name="checklist-new"),
    path("checklists/<slug:slug>/", views_lists.checklist, name="checklist"),
    path("checklists/<slug:slug>/edit/", views_lists.checklist_edit, name="checklist-edit"),
    path("checklists/<slug:slug>/shape/", views_lists.checklist_shape, name="checklist-shape"),
    path("checklists/<slug:slug>/paper/", views_lists.checklist_paper, name="checklist-paper"),
    path("checklists/<slug:slug>/<int:number>/", views_lists.checklist_version, name="checklist-version"),
    # lists on a job, and their runs
    path("job/<str:claim>/lists/", views_runs.job_lists, name="job-lists"),
    path("job/<str:claim>/lists/put-on/", views_runs.job_list_put_on, name="job-list-put-on"),
    path("job/<str:claim>/lists/<slug:slug>/begin/", views_runs.job_list_begin, name="job-list-begin"),
    path(
        "job/<str:claim>/lists/<slug:slug>/take-off/", views_runs.job_list_take_off, name="job-list-take-off"
    ),
    path("job/<str:claim>/lists/<slug:slug>/waive/", views_runs.job_waive, name="job-waive"),
    path("job/<str:claim>/build/", views_runs.job_build, name="job-build"),
    path("list-run/<int:pk>/", views_runs.list_run, name="list-run"),
    path("list-run/<int:pk>/sign/", views_runs.list_run_sign, name="list-run-sign"),
    path("list-run/<int:pk>/sign-off/", views_runs.list_run_sign_off, name="list-run-sign-off"),
    # unsafe gear
    path("job/<str:claim>/unsafe/", views_unsafe.job_unsafe, name="job-unsafe"),
    path("job/<str:claim>/unsafe/judge/", views_unsafe.job_unsafe_judge, name="job-unsafe-judge"),
    path("job/<str:claim>/unsafe/take-back/", views_unsafe.job_unsafe_take_back, name="job-unsafe-take-back"),
    path("job/<str:claim>/unsafe/tag/<str:size>/", views_unsafe.unsafe_tag_paper, name="unsafe-tag-paper"),
    path(
        "job/<str:claim>/unsafe/tag/<str:size>/print/", views_unsafe.unsafe_tag_print, name="unsafe-tag-print"
    ),
    # the job's report
    path("job/<str:claim>/report/", views_report.job_report, name="job-report"),
    path("job/<str:claim>/report/<str:kind>/", views_report.job_report_paper, name="job-report-paper"),
    # emergency card, cautions, near misses, a year of safety
    path("safety/", views_safety.safety, name="safety"),
    path("emergency/", views_safety.emergency_card, name="emergency"),
    path("emergency/edit/", views_safety.emergency_edit, name="emergency-edit"),
    path("emergency/paper/", views_safety.emergency_paper, name="emergency-paper"),
    path("cautions/", views_safety.cautions, name="cautions"),
    path("cautions/<slug:slug>/", views_safety.caution_edit, name="caution-edit"),
    path("near-misses/", views_safety.near_miss_list, name="near-misses"),
    path("near-misses/new/", views_safety.near_miss_new, name="near-miss-new"),
    path("near-misses/<int:pk>/", views_safety.near_miss, name="near-miss"),
    path("near-misses/<int:pk>/correct/", views_safety.near_miss_correct, name="near-miss-correct"),
    path("reports/safety/", views_safety_year.year, name="safety-year"),
    path("reports/safety.csv", views_safety_year.year_csv, name="safety-year-csv"),
]
