from django.urls import path

from flockcare.reports import views

app_name = "reports"

urlpatterns = [
    path("backup/", views.backup, name="backup"),
    path("security/", views.security, name="security"),
]
