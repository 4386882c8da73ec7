from django.urls import path

from flockcare.pages import views_bird, views_leaving

# Today, a bird's page and the form for a check bear no app's name: flockcare/urls.py has them.
app_name = "pages"
urlpatterns = [
    path("<uuid:bird_id>/timeline/", views_bird.timeline, name="timeline"),
    path("<uuid:bird_id>/leave/", views_leaving.leave, name="leave"),
    path("<uuid:bird_id>/came-back/", views_leaving.came_back, name="came_back"),
    path("<uuid:bird_id>/remove/", views_leaving.remove, name="remove"),
]
