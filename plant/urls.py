"""Addresses of this app."""

from django.contrib.auth.views import LogoutView
from django.urls import path

from plant.permissions import open_to_all
from plant.views import account, incidents, running_hours, site, switch_events

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

urlpatterns += [
    path("incidents/", incidents.IncidentList.as_view(), name="incident-list"),
    path("incidents/new/", incidents.IncidentCreate.as_view(), name="incident-create"),
    path("incidents/<int:pk>/", incidents.incident_detail, name="incident-detail"),
    path("incidents/<int:pk>/correct/", incidents.IncidentCorrect.as_view(), name="incident-correct"),
    path("incidents/<int:pk>/withdraw/", incidents.incident_withdraw, name="incident-withdraw"),
]

urlpatterns += [
    path("conveyors/<int:pk>/hours/", running_hours.hours_page, name="hours-detail"),
    path("conveyors/<int:pk>/hours/new/", running_hours.RunRecordCreate.as_view(), name="run-record-create"),
    path("conveyors/<int:pk>/meter/new/", running_hours.MeterReadingCreate.as_view(), name="meter-reading-create"),
    path("conveyors/<int:pk>/switches/", switch_events.switch_page, name="switch-events"),
    path("running-hours/", running_hours.RunRecordList.as_view(), name="run-record-list"),
    path("running-hours/<int:pk>/correct/", running_hours.RunRecordCorrect.as_view(), name="run-record-correct"),
    path("meter-readings/", running_hours.MeterReadingList.as_view(), name="meter-reading-list"),
    path("meter-readings/<int:pk>/correct/", running_hours.MeterReadingCorrect.as_view(), name="meter-reading-correct"),
]
