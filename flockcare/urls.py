from django.urls import include, path

from flockcare.care.views_calendar import feed

handler500 = "flockcare.core.room.fault"

# Everything about one flock lies under its key; flockcare.people.access looks it up.
urlpatterns = [
    path("", include("flockcare.people.urls")),
    path("", include("flockcare.offline.urls")),
    path("f/<uuid:flock_id>/birds/", include("flockcare.birds.urls")),
    path("f/<uuid:flock_id>/houses/", include("flockcare.housing.urls")),
    path("f/<uuid:flock_id>/photos/", include("flockcare.photos.urls")),
    path("f/<uuid:flock_id>/care/", include("flockcare.care.urls")),
    path("f/<uuid:flock_id>/trends/", include("flockcare.trends.urls")),
    path("f/<uuid:flock_id>/about/", include("flockcare.reports.urls")),
    path("f/<uuid:flock_id>/", include("flockcare.feet.urls")),
    path("", include("flockcare.reports.vet.urls")),
    path("", include("flockcare.reports.records.urls")),
    path("calendar/<str:token>.ics", feed, name="calendar_feed"),
]
