from django.urls import path

from flockcare.photos import (
    views,
    views_cards,
    views_face,
    views_measure,
    views_photo,
    views_series,
)

app_name = "photos"
urlpatterns = [
    path("add/", views.add, name="add"),
    path("card/", views.card, name="card"),
    path("last/<uuid:bird_id>/", views_series.last, name="last"),
    path("<uuid:photo_id>/<int:size>.jpg", views.file, name="file"),
    path("<uuid:photo_id>/full.jpg", views.file, {"size": None}, name="full"),
    # One photo, the series of a foot, measuring, cards
    path("<uuid:photo_id>/", views_photo.photo, name="photo"),
    path("<uuid:photo_id>/turn/", views_photo.turn, name="turn"),
    path("<uuid:photo_id>/crop/", views_photo.crop, name="crop"),
    path("<uuid:photo_id>/delete/", views_photo.delete, name="delete"),
    path("<uuid:photo_id>/put-back/", views_photo.put_back, name="put_back"),
    path("<uuid:photo_id>/measure/", views_measure.measure, name="measure"),
    path("<uuid:photo_id>/take-back/", views_measure.take_back, name="take_back"),
    path("space/", views_photo.space, name="space"),
    path("space/files/", views_photo.put_files_back, name="put_files_back"),
    path("face/<uuid:bird_id>/", views_face.face, name="face"),
    path("cards/", views_cards.choose, name="cards"),
    path("cards/print/", views_cards.measure_print, name="card_print"),
    path("cards/sheets/", views_cards.sheets, name="card_sheets"),
]
