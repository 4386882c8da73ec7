from django.urls import path

from flockcare.trends import views, views_summary

app_name = "trends"
urlpatterns = [
    path("", views.page, name="page"),
    path("cases/", views.cases, name="cases"),
    path("summary/", views_summary.download, name="summary"),
    path("<uuid:house_id>/<str:on>/", views.change, name="change"),
    path("<uuid:house_id>/<str:on>/stretch/", views.window, name="window"),
]
