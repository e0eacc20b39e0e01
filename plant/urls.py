"""Addresses of this app."""

from django.contrib.auth.views import LogoutView
from django.urls import path

from plant.permissions import open_to_all
from plant.views import account, site

urlpatterns = [
    path("", site.today, name="today"),
    path("find/", site.find, name="find"),
    path("plants/choose/", site.choose_plant, name="plant-choose"),
    path("notices/", site.notices, name="notices"),
    path("notices/read/", site.read_notices, name="notices-read"),
    path("understood/", site.understood, name="understood"),
    path("photos/<int:pk>/", site.photo, name="photo"),
    path("sign-in/", account.SignIn.as_view(), name="sign-in"),
    path("sign-out/", open_to_all(LogoutView.as_view()), name="sign-out"),
    path("account/", account.account, name="account"),
    path("account/password/", account.change_password, name="password"),
]
