from django.urls import path

from flockcare.reports import views
from flockcare.reports.guide import guide

app_name = "reports"

urlpatterns = [
    path("backup/", views.backup, name="backup"),
    path("guide/", guide, name="guide"),
    path("security/", views.security, name="security"),
]
