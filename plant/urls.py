"""Addresses of this app."""

from django.contrib.auth.views import LogoutView
from django.urls import path

from plant.permissions import open_to_all
from plant.views import (
    account,
    conveyors,
    health,
    imports,
    incidents,
    keepers,
    kept,
    names,
    outages,
    own_words,
    people,
    plant_exports,
    plants,
    running_hours,
    site,
    switch_events,
)

urlpatterns = [
    path("", site.today, name="today"),
    path("find/", site.find, name="find"),
    path("plants/choose/", site.choose_plant, name="plant-choose"),
    path("notices/", site.notices, name="notices"),
    path("notices/read/", site.read_notices, name="notices-read"),
    path("understood/", site.understood, name="understood"),
    path("photos/<key:pk>/", site.photo, name="photo"),
    path("kept/<slug:topic>/<slug:part>/", kept.kept_standing, name="kept-standing"),
    path("health/live", health.live, name="health-live"),
    path("health/ready", health.ready, name="health-ready"),
    path("metrics", health.metrics, name="metrics"),
    path("first-sign-in/", account.first_sign_in, name="first-sign-in"),
    path("sign-in/", account.SignIn.as_view(), name="sign-in"),
    path("sign-out/", open_to_all(LogoutView.as_view()), name="sign-out"),
    path("account/", account.account, name="account"),
    path("account/password/", account.change_password, name="password"),
]

urlpatterns += [
    path("incidents/", incidents.IncidentList.as_view(), name="incident-list"),
    path("incidents/new/", incidents.IncidentCreate.as_view(), name="incident-create"),
    path("incidents/<key:pk>/", incidents.incident_detail, name="incident-detail"),
    path("incidents/<key:pk>/correct/", incidents.IncidentCorrect.as_view(), name="incident-correct"),
    path("incidents/<key:pk>/withdraw/", incidents.incident_withdraw, name="incident-withdraw"),
]

urlpatterns += [
    path("conveyors/<key:pk>/hours/", running_hours.hours_page, name="hours-detail"),
    path("conveyors/<key:pk>/hours/new/", running_hours.RunRecordCreate.as_view(), name="run-record-create"),
    path("conveyors/<key:pk>/meter/new/", running_hours.MeterReadingCreate.as_view(), name="meter-reading-create"),
    path("conveyors/<key:pk>/switches/", switch_events.switch_page, name="switch-events"),
    path("running-hours/", running_hours.RunRecordList.as_view(), name="run-record-list"),
    path("running-hours/<key:pk>/correct/", running_hours.RunRecordCorrect.as_view(), name="run-record-correct"),
    path("meter-readings/", running_hours.MeterReadingList.as_view(), name="meter-reading-list"),
    path("meter-readings/<key:pk>/correct/", running_hours.MeterReadingCorrect.as_view(), name="meter-reading-correct"),
]

urlpatterns += [
    path("areas/", conveyors.AreaList.as_view(), name="area-list"),
    path("areas/new/", conveyors.AreaCreate.as_view(), name="area-create"),
    path("areas/<key:pk>/", conveyors.area_detail, name="area-detail"),
    path("areas/<key:pk>/change/", conveyors.AreaChange.as_view(), name="area-update"),
    path("conveyors/", conveyors.ConveyorList.as_view(), name="conveyor-list"),
    path("conveyors/new/", conveyors.ConveyorCreate.as_view(), name="conveyor-create"),
    path("conveyors/<key:pk>/", conveyors.conveyor_detail, name="conveyor-detail"),
    path("conveyors/<key:pk>/change/", conveyors.ConveyorChange.as_view(), name="conveyor-update"),
    path("conveyors/<key:pk>/parts/new/", conveyors.ConveyorPartCreate.as_view(), name="part-create"),
    path("parts/<key:pk>/change/", conveyors.ConveyorPartChange.as_view(), name="part-update"),
    path("parts/<key:pk>/remove/", conveyors.PartRemoval.as_view(), name="part-remove"),
]

urlpatterns += [
    path("outages/", outages.OutageList.as_view(), name="outage-list"),
    path("outages/new/", outages.OutageCreate.as_view(), name="outage-create"),
    path("outages/<key:pk>/", outages.outage_detail, name="outage-detail"),
    path("outages/<key:pk>/change/", outages.OutageChange.as_view(), name="outage-update"),
    path("outages/<key:pk>/cancel/", outages.OutageCancel.as_view(), name="outage-cancel"),
    path("belt-changes/", outages.BeltChangeList.as_view(), name="belt-change-list"),
    path("belt-changes/new/", outages.BeltChangeCreate.as_view(), name="belt-change-create"),
    path("belt-changes/<key:pk>/", outages.belt_change_detail, name="belt-change-detail"),
    path("belt-changes/<key:pk>/change/", outages.BeltChangeChange.as_view(), name="belt-change-update"),
]

urlpatterns += [
    path("plant/", plants.PlantSettings.as_view(), name="plant-settings"),
    path("plant/export/", plant_exports.export_page, name="plant-export"),
    path("plant/export/progress/", plant_exports.export_progress, name="plant-export-progress"),
    path("plant/export/<key:pk>/file/", plant_exports.export_file, name="plant-export-file"),
    path("people/", people.people_list, name="people-list"),
    path("people/new/", people.PersonCreate.as_view(), name="person-create"),
    path("people/<int:person>/sign-in/", people.sign_in_page, name="person-sign-in"),
    path("people/<int:person>/first-password/", people.first_password_give, name="person-first-password"),
    path("people/<int:person>/switch/", people.sign_in_switch, name="person-switch"),
    path("people/<int:person>/sign-out/", people.sessions_end, name="person-sign-out"),
    path("people/roles/give/", people.RoleGive.as_view(), name="role-give"),
    path("people/roles/<key:membership>/take/", people.role_take, name="role-take"),
]

urlpatterns += [
    path("site/", health.site_page, name="site"),
    path("site/jobs/<key:job>/retry/", health.failed_job_retry, name="failed-job-retry"),
    path("site/jobs/<key:job>/discard/", health.failed_job_discard, name="failed-job-discard"),
    path("site/names/", names.name_list, name="name-list"),
    path("site/names/<int:person>/remove/", names.name_remove, name="name-remove"),
    path("site/keepers/", keepers.keeper_list, name="keeper-list"),
    path("site/keepers/give/", keepers.keeper_give, name="keeper-give"),
    path("site/keepers/<int:person>/take/", keepers.keeper_take, name="keeper-take"),
]

urlpatterns += [
    path("imports/", imports.ImportList.as_view(), name="import-list"),
    path("imports/new/", imports.import_create, name="import-create"),
    path("imports/blank/<slug:subject>.csv", imports.blank_file, name="import-blank"),
    path("imports/words/", own_words.OwnWordList.as_view(), name="own-word-list"),
    path("imports/words/<key:pk>/forget/", own_words.own_word_forget, name="own-word-forget"),
    path("imports/<key:pk>/", imports.import_detail, name="import-detail"),
    path("imports/<key:pk>/choices/", imports.import_choose, name="import-choose"),
    path("imports/<key:pk>/start/", imports.import_start, name="import-start"),
    path("imports/<key:pk>/forget/", imports.import_forget, name="import-forget"),
    path("imports/<key:pk>/stop/", imports.import_stop, name="import-stop"),
    path("imports/<key:pk>/progress/", imports.import_progress, name="import-progress"),
    path("imports/<key:pk>/refused.csv", imports.rejected_file, name="import-refused"),
    path("imports/<key:pk>/take-back/", imports.import_take_back, name="import-take-back"),
    path("imports/<key:pk>/open-again/", imports.import_open_again, name="import-open-again"),
    path("imports/<key:pk>/go-on/", imports.import_go_on, name="import-go-on"),
    path("imports/<key:pk>/rows/", imports.import_rows, name="import-rows"),
    path("imports/<key:pk>/rows/<key:row>/", imports.rejected_row, name="import-row"),
]
