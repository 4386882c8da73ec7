from django.urls import path

from flockcare.feet import views_check, views_round, views_sort

app_name = "feet"
urlpatterns = [
    path("checks/<uuid:check_id>/", views_check.show, name="check"),
    path("checks/<uuid:check_id>/edit/", views_check.edit, name="check_edit"),
    path("checks/<uuid:check_id>/delete/", views_check.delete, name="check_delete"),
    path("round/", views_round.round_page, name="round"),
    path("round/next/", views_round.round_next, name="round_next"),
    path("round/pass/<uuid:bird_id>/", views_round.round_pass, name="round_pass"),
    path("round/end/", views_round.round_end, name="round_end"),
    path("scales/", views_check.about_scales, name="about_scales"),
    # Photos to sort
    path("sort/", views_sort.sort, name="sort"),
    path("sort/one/", views_sort.one, name="sort_one"),
    path("sort/add/", views_sort.add, name="sort_add"),
    path("sort/send/", views_sort.send, name="sort_send"),
    path("sort/known/", views_sort.known, name="sort_known"),
    path("sort/follow/<uuid:photo_id>/", views_sort.follow, name="sort_follow"),
    path("sort/alike/", views_sort.alike, name="sort_alike"),
    path("sort/undo/", views_sort.undo, name="sort_undo"),
    path("sort/count/", views_sort.count, name="sort_count"),
]
