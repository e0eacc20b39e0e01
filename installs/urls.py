"""Addresses of this app."""

from django.urls import path

from installs.views import device_models, devices, installations

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
]
