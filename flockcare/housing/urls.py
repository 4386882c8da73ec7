from django.urls import path

from flockcare.housing import (
    views,
    views_arrange,
    views_changes,
    views_events,
    views_landing,
    views_stays,
    views_whatif,
)

app_name = "housing"
urlpatterns = [
    path("", views.house_list, name="list"),
    path("add/", views.house_add, name="add"),
    path("move/", views_stays.move, name="move"),
    path("birds/<uuid:bird_id>/", views_stays.stays_of_bird, name="stays"),
    path("stays/<uuid:stay_id>/", views_stays.stay_edit, name="stay"),
    path("stays/<uuid:stay_id>/delete/", views_stays.stay_delete, name="stay_delete"),
    path("features/<uuid:feature_id>/", views.feature, name="feature"),
    path("features/<uuid:feature_id>/edit/", views_changes.feature_edit, name="feature_edit"),
    path("features/<uuid:feature_id>/delete/", views_changes.feature_delete, name="feature_delete"),
    path("states/<uuid:state_id>/", views_changes.state_correct, name="state"),
    path("states/<uuid:state_id>/delete/", views_changes.state_delete, name="state_delete"),
    path("plans/<uuid:plan_id>/done/", views_changes.plan_done, name="plan_done"),
    path("plans/<uuid:plan_id>/drop/", views_changes.plan_drop, name="plan_drop"),
    path("events/", views_events.events, name="events"),
    path("events/<uuid:event_id>/", views_events.event, name="event"),
    path("events/<uuid:event_id>/over/", views_events.event_over, name="event_over"),
    path("events/<uuid:event_id>/delete/", views_events.event_delete, name="event_delete"),
    path("wetness/<uuid:wetness_id>/", views_events.wetness_edit, name="wetness_edit"),
    path("wetness/<uuid:wetness_id>/delete/", views_events.wetness_delete, name="wetness_delete"),
    path("<uuid:house_id>/", views.house, name="house"),
    path("<uuid:house_id>/wetness/", views_events.wetness, name="wetness"),
    path("<uuid:house_id>/edit/", views.house_edit, name="edit"),
    path("<uuid:house_id>/delete/", views.house_delete, name="delete"),
    path("<uuid:house_id>/features/add/", views_changes.feature_add, name="feature_add"),
    path("<uuid:house_id>/change/", views_changes.change, name="change"),
    path("<uuid:house_id>/changes/<str:on>/", views_changes.change_tell, name="change_tell"),
    path(
        "<uuid:house_id>/changes/<str:on>/delete/",
        views_changes.change_delete,
        name="change_delete",
    ),
    path("<uuid:house_id>/changes/<str:on>/why/", views_changes.change_why, name="change_why"),
    path("<uuid:house_id>/arrange/", views_arrange.arrange, name="arrange"),
    path("<uuid:house_id>/correct/", views_changes.correct, name="correct"),
    path("<uuid:house_id>/walk/", views_changes.walk, name="walk"),
    # Coming down from the roosts: drawing, table, what if.
    path("<uuid:house_id>/landing/", views_landing.landing_page, name="landing"),
    path("<uuid:house_id>/what-if/", views_whatif.what_if, name="what_if"),
]
