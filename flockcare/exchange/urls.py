from django.urls import path

from flockcare.exchange import views
from flockcare.exchange.spreadsheet.views import spreadsheet

app_name = "exchange"
urlpatterns = [
    path("f/<uuid:flock_id>/records/", views.overview, name="overview"),
    path("f/<uuid:flock_id>/records/spreadsheet/", spreadsheet, name="spreadsheet"),
    path("flocks/import/<uuid:import_id>/", views.progress, name="importing"),
    path("flocks/import/<uuid:import_id>/cancel/", views.cancel, name="import_cancel"),
]
