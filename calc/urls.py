"""The addresses of what is measured and computed."""

from django.urls import path

from calc import views

urlpatterns: list = [
    # readings
    path("job/<str:claim>/readings/", views.job_readings, name="job-readings"),
    path("job/<str:claim>/reading/", views.job_reading, name="job-reading"),
    path("job/<str:claim>/reading/<int:pk>/strike/", views.job_reading_strike, name="job-reading-strike"),
    path(
        "job/<str:claim>/reading/<int:pk>/put-back/", views.job_reading_put_back, name="job-reading-put-back"
    ),
]
