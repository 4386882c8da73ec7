from django.urls import path

from flockcare.reports.records import views, views_mapping

app_name = "records"
urlpatterns = [
    path("f/<uuid:flock_id>/records/", views.overview, name="overview"),
    path("f/<uuid:flock_id>/records/spreadsheet/", views_mapping.spreadsheet, name="spreadsheet"),
    path("flocks/import/", views.bring_in, name="import"),
]
