from django.urls import path

app_name = "feet"
urlpatterns = []
