from django.urls import include, path

from flockcare.backup.sources import sources
from flockcare.exchange.views import bring_in, download
from flockcare.pages import (
    views_bird,
    views_birds,
    views_check,
    views_history,
    views_moving,
    views_pick,
    views_series,
    views_today,
)
from flockcare.reminders.views_calendar import feed
from flockcare.running import views_phone

handler500 = "flockcare.core.room.fault"

# Everything about one flock lies under its key; flockcare.people.access looks it up.
urlpatterns = [
    # What every app leads to, though it is put together from most of them, has a name without an
    # app: links from an app go to itself, to the apps below it, or to one of these.
    path("f/<uuid:flock_id>/today/", views_today.today, name="today"),
    path("f/<uuid:flock_id>/check/", views_pick.pick, name="pick"),
    path("f/<uuid:flock_id>/birds/", views_birds.bird_list, name="birds"),
    path("f/<uuid:flock_id>/birds/<uuid:bird_id>/", views_bird.bird, name="bird"),
    path("f/<uuid:flock_id>/birds/<uuid:bird_id>/check/", views_check.new, name="check_bird"),
    path("f/<uuid:flock_id>/history/", views_history.recent, name="recent_changes"),
    path(
        "f/<uuid:flock_id>/history/<uuid:record_id>/<slug:kind>/",
        views_history.history,
        name="record_history",
    ),
    path("f/<uuid:flock_id>/move/check/<uuid:check_id>/", views_moving.check, name="move_check"),
    path("f/<uuid:flock_id>/move/care/<uuid:step_id>/", views_moving.step, name="move_step"),
    path("f/<uuid:flock_id>/move/photo/<uuid:photo_id>/", views_moving.photo, name="move_photo"),
    path(
        "f/<uuid:flock_id>/photos/series/<uuid:bird_id>/<str:foot>/",
        views_series.series,
        name="series",
    ),
    path("f/<uuid:flock_id>/records/export/", download, name="export"),
    path("flocks/import/", bring_in, name="import"),
    path("f/<uuid:flock_id>/about/sources/", sources, name="sources"),
    path("phone/", views_phone.phone, name="set_up_phone"),
    path("phone/flockcare-home.crt", views_phone.certificate, name="certificate"),
    path("calendar/<str:token>.ics", feed, name="calendar_feed"),
    path("", include("flockcare.people.urls")),
    path("", include("flockcare.offline.urls")),
    path("f/<uuid:flock_id>/birds/", include("flockcare.birds.urls")),
    path("f/<uuid:flock_id>/", include("flockcare.pages.urls")),
    path("f/<uuid:flock_id>/houses/", include("flockcare.housing.urls")),
    path("f/<uuid:flock_id>/photos/", include("flockcare.photos.urls")),
    path("f/<uuid:flock_id>/care/", include("flockcare.care.urls")),
    path("f/<uuid:flock_id>/reminders/", include("flockcare.reminders.urls")),
    path("f/<uuid:flock_id>/trends/", include("flockcare.trends.urls")),
    path("f/<uuid:flock_id>/about/", include("flockcare.backup.urls")),
    path("f/<uuid:flock_id>/", include("flockcare.feet.urls")),
    path("", include("flockcare.vetsheet.urls")),
    path("", include("flockcare.exchange.urls")),
]
