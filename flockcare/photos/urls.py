from django.urls import path

app_name = "photos"
urlpatterns = []
