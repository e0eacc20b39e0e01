"""Addresses of this app."""

from django.urls import path

from installs.views import commissioning, device_models, devices, fittings, installations, surveys

urlpatterns: list = [
    path("device-models/", device_models.DeviceModelList.as_view(), name="device-model-list"),
    path("device-models/new/", device_models.DeviceModelCreate.as_view(), name="device-model-create"),
    path("device-models/<int:pk>/", device_models.device_model_detail, name="device-model-detail"),
    path("device-models/<int:pk>/change/", device_models.DeviceModelChange.as_view(), name="device-model-update"),
    path("device-models/<int:pk>/fasteners/new/", device_models.FastenerCreate.as_view(), name="fastener-create"),
    path("fasteners/<int:pk>/change/", device_models.FastenerChange.as_view(), name="fastener-update"),
    path("devices/", devices.DeviceList.as_view(), name="device-list"),
    path("devices/new/", devices.DeviceCreate.as_view(), name="device-create"),
    path("devices/<int:pk>/", devices.device_detail, name="device-detail"),
    path("devices/<int:pk>/change/", devices.DeviceChange.as_view(), name="device-update"),
    path("installations/", installations.InstallationList.as_view(), name="installation-list"),
    path("installations/new/", installations.InstallationCreate.as_view(), name="installation-create"),
    path("installations/<int:pk>/", installations.installation_detail, name="installation-detail"),
    path("installations/<int:pk>/change/", installations.InstallationChange.as_view(), name="installation-update"),
    path("installations/<int:pk>/remove/", installations.InstallationRemoval.as_view(), name="installation-remove"),
    path("fittings/", fittings.FittingList.as_view(), name="fitting-list"),
    path("fittings/new/", fittings.FittingCreate.as_view(), name="fitting-create"),
    path("fittings/<int:pk>/", commissioning.fitting_detail, name="fitting-detail"),
    path("fittings/<int:pk>/change/", fittings.FittingChange.as_view(), name="fitting-update"),
    path("fittings/<int:pk>/give-up/", fittings.FittingGivingUp.as_view(), name="fitting-give-up"),
    path("fittings/<int:pk>/needs/", fittings.FittingNeeds.as_view(), name="fitting-needs"),
    path("fittings/<int:pk>/needs/new/", fittings.NeedCreate.as_view(), name="fitting-need-create"),
    path("fittings/<int:pk>/isolation/", commissioning.IsolationAct.as_view(), name="fitting-isolation"),
    path("fittings/<int:pk>/points/<str:point>/", commissioning.PointAct.as_view(), name="fitting-point"),
    path("fittings/<int:pk>/adjustment/", commissioning.AdjustmentAct.as_view(), name="fitting-adjustment"),
    path("fittings/<int:pk>/trial-run/", commissioning.TrialRunAct.as_view(), name="fitting-trial-run"),
    path("fittings/<int:pk>/acceptance/", commissioning.AcceptanceAct.as_view(), name="fitting-acceptance"),
    path("fittings/<int:pk>/hand-over/", commissioning.HandOverAct.as_view(), name="fitting-hand-over"),
    path("hold-points/<int:pk>/correct/", commissioning.PointCorrection.as_view(), name="hold-point-correct"),
    path("trial-runs/<int:pk>/withdraw/", commissioning.RunWithdrawal.as_view(), name="trial-run-withdraw"),
    path("surveys/", surveys.SurveyList.as_view(), name="survey-list"),
    path("surveys/new/", surveys.SurveyCreate.as_view(), name="survey-create"),
    path("surveys/<int:pk>/", surveys.survey_detail, name="survey-detail"),
    path("surveys/<int:pk>/change/", surveys.SurveyChange.as_view(), name="survey-update"),
    path("surveys/<int:pk>/close/", surveys.SurveyClose.as_view(), name="survey-close"),
    path("surveys/<int:pk>/reopen/", surveys.SurveyReopen.as_view(), name="survey-reopen"),
]
