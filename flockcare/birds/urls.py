from django.urls import path

from flockcare.birds import views, views_states

app_name = "birds"
urlpatterns = [
    path("add/", views.bird_add, name="add"),
    path("add-many/", views.bird_add_many, name="add_many"),
    path("breeds/", views.breeds, name="breeds"),
    path("breeds/<uuid:breed_id>/", views.breed_edit, name="breed_edit"),
    path("breeds/<uuid:breed_id>/delete/", views.breed_delete, name="breed_delete"),
    path("<uuid:bird_id>/edit/", views.bird_edit, name="edit"),
    path("<uuid:bird_id>/weighings/", views.weighings, name="weighings"),
    path(
        "<uuid:bird_id>/weighings/<uuid:weighing_id>/",
        views.weighing_edit,
        name="weighing_edit",
    ),
    path(
        "<uuid:bird_id>/weighings/<uuid:weighing_id>/delete/",
        views.weighing_delete,
        name="weighing_delete",
    ),
    path("<uuid:bird_id>/states/", views_states.states, name="states"),
    path("<uuid:bird_id>/states/start/", views_states.state_start, name="state_start"),
    path(
        "<uuid:bird_id>/states/<uuid:bird_state_id>/",
        views_states.state_edit,
        name="state_edit",
    ),
    path(
        "<uuid:bird_id>/states/<uuid:bird_state_id>/end/",
        views_states.state_end,
        name="state_end",
    ),
    path(
        "<uuid:bird_id>/states/<uuid:bird_state_id>/delete/",
        views_states.state_delete,
        name="state_delete",
    ),
]
