from django.urls import include, path

from flockcare.people import views, views_deletion

app_name = "people"

flock_patterns = [
    path("open/", views.flock_open, name="flock_open"),
    path("more/", views.more, name="more"),
    path("settings/", views.flock_settings, name="settings"),
    path("leave/", views.leave, name="leave"),
    path("delete/", views_deletion.flock_delete, name="flock_delete"),
    path("people/", views.people, name="people"),
    path(
        "people/invitations/<uuid:invitation_id>/withdraw/",
        views.invitation_withdraw,
        name="invitation_withdraw",
    ),
    path("people/<uuid:membership_id>/", views.member, name="member"),
    path("people/<uuid:membership_id>/new-password/", views.password_link, name="password_link"),
    path("people/<uuid:membership_id>/remove/", views.member_remove, name="member_remove"),
]
urlpatterns = [
    path("", views.home, name="home"),
    path("set-up/", views.set_up, name="set_up"),
    path("sign-in/", views.sign_in, name="sign_in"),
    path("sign-out/", views.sign_out, name="sign_out"),
    path("join/<str:token>/", views.join, name="join"),
    path("new-password/<str:token>/", views.new_password, name="new_password"),
    path("flocks/", views.flock_list, name="flocks"),
    path("flocks/new/", views.flock_new, name="flock_new"),
    path("account/", views.account, name="account"),
    path("account/delete/", views_deletion.account_delete, name="account_delete"),
    path("account/password/", views.password, name="password"),
    path("account/sign-out-everywhere/", views.sign_out_everywhere, name="sign_out_everywhere"),
    path("f/<uuid:flock_id>/", include(flock_patterns)),
]
