"""Root of all addresses."""

from django.urls import include, path

urlpatterns = [
    path("", include("plant.urls")),
    path("", include("installs.urls")),
    path("", include("inspections.urls")),
    path("", include("reports.urls")),
]
handler403 = "plant.views.errors.no_right"
handler404 = "plant.views.errors.not_found"
handler500 = "plant.views.errors.failed"
