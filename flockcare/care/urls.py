from django.urls import path

from flockcare.care import (
    views_calendar,
    views_case,
    views_info,
    views_kit,
    views_medicine,
    views_steps,
    views_today,
    views_vets,
)

# The calendar itself lies outside the flock: its secret address is all that opens it.
app_name = "care"
urlpatterns = [
    path("", views_today.due_list, name="list"),
    path("today/", views_today.today_panel, name="today_panel"),
    path("steps/<uuid:step_id>/", views_steps.show, name="step"),
    path("steps/<uuid:step_id>/undo/", views_steps.undo, name="undo"),
    path("steps/<uuid:step_id>/done/", views_steps.done, name="done"),
    path("steps/<uuid:step_id>/claim/", views_steps.claim, name="claim"),
    path("steps/<uuid:step_id>/prescription/", views_vets.prescription, name="prescription"),
    path("steps/<uuid:step_id>/drop/", views_steps.drop, name="drop"),
    path("birds/<uuid:bird_id>/", views_today.bird, name="bird"),
    path("birds/<uuid:bird_id>/step/", views_steps.new, name="step_new"),
    path("birds/<uuid:bird_id>/<slug:foot>/opening/", views_case.opening, name="opening"),
    path("birds/<uuid:bird_id>/<slug:foot>/<uuid:check_id>/", views_case.case, name="case"),
    path("repeats/", views_case.repeats, name="repeats"),
    path("holds/", views_kit.holds, name="holds"),
    path("vets/", views_vets.vets, name="vets"),
    path("vets/add/", views_vets.vet_new, name="vet_new"),
    path("vets/<uuid:contact_id>/", views_vets.vet_edit, name="vet"),
    path("vets/<uuid:contact_id>/delete/", views_vets.vet_delete, name="vet_delete"),
    path("medicine/give/", views_medicine.give, name="give"),
    path("medicine/record/", views_medicine.record, name="medicine_record"),
    path("kit/", views_kit.kit, name="kit"),
    path("kit/fill/", views_kit.fill, name="kit_fill"),
    path("kit/add/", views_kit.item_new, name="item_new"),
    path("kit/<uuid:item_id>/", views_kit.item_edit, name="item"),
    path("kit/<uuid:item_id>/delete/", views_kit.item_delete, name="item_delete"),
    path("calendar/", views_calendar.calendar_page, name="calendar"),
    path("calendar/end/", views_calendar.calendar_end, name="calendar_end"),
    path("rules/", views_info.rules, name="rules"),
    path("dressing/", views_info.dressing, name="dressing"),
    path("medicines/", views_info.medicines, name="medicines"),
]
