from django.urls import path

app_name = "birds"
urlpatterns = []
