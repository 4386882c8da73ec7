from django.urls import path

from flockcare.photos import views

app_name = "photos"
urlpatterns = [
    path("add/", views.add, name="add"),
    path("<uuid:photo_id>/<int:size>.jpg", views.file, name="file"),
    path("<uuid:photo_id>/full.jpg", views.file, {"size": None}, name="full"),
]
