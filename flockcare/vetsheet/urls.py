from django.urls import path

from flockcare.vetsheet import views

app_name = "vetsheet"
urlpatterns = [
    path("f/<uuid:flock_id>/vet/", views.links, name="links"),
    path("f/<uuid:flock_id>/vet/links/<uuid:link_id>/revoke/", views.revoke, name="revoke"),
    path("f/<uuid:flock_id>/birds/<uuid:bird_id>/vet/", views.sheet, name="sheet"),
    path("f/<uuid:flock_id>/birds/<uuid:bird_id>/vet/sheet.pdf", views.pdf, name="pdf"),
    path("f/<uuid:flock_id>/birds/<uuid:bird_id>/vet/share/", views.share, name="share"),
    # Open to whoever has the address
    path("vet/<str:token>/", views.shared, name="shared"),
    path("vet/<str:token>/sheet.pdf", views.shared_pdf, name="shared_pdf"),
    path(
        "vet/<str:token>/photos/<uuid:photo_id>/<int:size>.jpg",
        views.shared_photo,
        name="shared_photo",
    ),
]
