from django.urls import path

from flockcare.offline import views, views_shell

app_name = "offline"
urlpatterns = [
    path("app.webmanifest", views_shell.manifest, name="manifest"),
    path("worker.js", views_shell.worker, name="worker"),
    path("no-signal/<slug:name>/", views_shell.kept, name="kept"),
    path("outbox/", views_shell.outbox, name="outbox"),
    path("outbox/hello/", views.hello, name="hello"),
    path("f/<uuid:flock_id>/outbox/birds/", views.birds, name="birds"),
    path("f/<uuid:flock_id>/outbox/records/<uuid:key>/", views.record, name="record"),
    path("f/<uuid:flock_id>/outbox/photos/<uuid:key>/", views.photo, name="photo"),
    path("f/<uuid:flock_id>/outbox/photos/<uuid:key>/parts/<int:number>/", views.part, name="part"),
    path("f/<uuid:flock_id>/no-signal/", views_shell.about, name="about"),
]
