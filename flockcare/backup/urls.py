from django.urls import path

from flockcare.backup import views
from flockcare.backup.guide import guide

app_name = "backup"

urlpatterns = [
    path("backup/", views.backup, name="overview"),
    path("guide/", guide, name="guide"),
    path("security/", views.security, name="security"),
]
