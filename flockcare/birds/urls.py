from django.urls import path

from flockcare.birds import views

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
]
