from django.urls import path

from flockcare.offline import views

app_name = "offline"
urlpatterns = [
    path("outbox/hello/", views.hello, name="hello"),
    path("f/<uuid:flock_id>/outbox/birds/", views.birds, name="birds"),
    path("f/<uuid:flock_id>/outbox/records/<uuid:key>/", views.record, name="record"),
    path("f/<uuid:flock_id>/outbox/photos/<uuid:key>/", views.photo, name="photo"),
]
