from django.urls import path

from flockcare.reminders import views, views_calendar

# The calendar itself lies outside the flock: its secret address is all that opens it.
app_name = "reminders"
urlpatterns = [
    path("", views.reminders, name="page"),
    path("phone/", views.phone, name="phone"),
    path("phone/end/", views.phone_end, name="phone_end"),
    path("calendar/", views_calendar.calendar_page, name="calendar"),
    path("calendar/flockcare.ics", views_calendar.calendar_file, name="calendar_file"),
    path("calendar/end/", views_calendar.calendar_end, name="calendar_end"),
]
