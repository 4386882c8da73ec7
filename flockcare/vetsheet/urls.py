from django.urls import path

from flockcare.vetsheet import views, views_sitter

app_name = "vetsheet"
urlpatterns = [
    path("f/<uuid:flock_id>/vet/", views.links, name="links"),
    path("f/<uuid:flock_id>/vet/links/<uuid:link_id>/revoke/", views.revoke, name="revoke"),
    path("f/<uuid:flock_id>/birds/<uuid:bird_id>/vet/", views.sheet, name="sheet"),
    path("f/<uuid:flock_id>/birds/<uuid:bird_id>/vet/sheet.pdf", views.pdf, name="pdf"),
    path("f/<uuid:flock_id>/birds/<uuid:bird_id>/vet/share/", views.share, name="share"),
    path("f/<uuid:flock_id>/sitter/", views_sitter.sitters, name="sitters"),
    path("f/<uuid:flock_id>/sitter/<uuid:link_id>/note/", views_sitter.note, name="sitter_note"),
    path("f/<uuid:flock_id>/sitter/<uuid:link_id>/paper/", views_sitter.paper, name="sitter_paper"),
    # Open to whoever has the address
    path("vet/<str:token>/", views.shared, name="shared"),
    path("vet/<str:token>/sheet.pdf", views.shared_pdf, name="shared_pdf"),
    path(
        "vet/<str:token>/photos/<uuid:photo_id>/<int:size>.jpg",
        views.shared_photo,
        name="shared_photo",
    ),
    path("sitter/<str:token>/", views_sitter.sitter, name="sitter"),
    path("sitter/<str:token>/tick/", views_sitter.tick, name="sitter_tick"),
    path("sitter/<str:token>/undo/", views_sitter.undo, name="sitter_undo"),
]
