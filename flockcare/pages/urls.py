from django.urls import path

from flockcare.pages import (
    views_bird,
    views_coop_sheet,
    views_history,
    views_leaving,
    views_pick,
    wetness,
)

# What every app leads to bears no app's name: flockcare/urls.py has it.
app_name = "pages"
urlpatterns = [
    path("coop-sheet/", views_coop_sheet.sheet, name="coop_sheet"),
    path("coop-sheet/type/", views_coop_sheet.type_in, name="coop_type"),
    path("round/start/", views_pick.round_start, name="round_start"),
    path("birds/<uuid:bird_id>/timeline/", views_bird.timeline, name="timeline"),
    path("birds/<uuid:bird_id>/leave/", views_leaving.leave, name="leave"),
    path("birds/<uuid:bird_id>/came-back/", views_leaving.came_back, name="came_back"),
    path("birds/<uuid:bird_id>/remove/", views_leaving.remove, name="remove"),
    path("birds/<uuid:bird_id>/wetness/", wetness.answer, name="wetness"),
    path("history/<int:revision_id>/", views_history.changeset, name="changeset"),
    path(
        "history/<uuid:record_id>/<slug:kind>/<int:revision_id>/",
        views_history.restore,
        name="restore",
    ),
    path(
        "history/<uuid:record_id>/<slug:kind>/<int:revision_id>/bring-back/",
        views_history.bring_back,
        name="bring_back",
    ),
]
