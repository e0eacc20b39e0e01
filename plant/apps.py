from django.apps import AppConfig
from django.db.models.signals import post_migrate
from django.urls import register_converter


class PlantConfig(AppConfig):
    name = "plant"

    def ready(self) -> None:
        from plant import jobs, panels, receivers  # noqa: F401  (they register themselves)
        from plant.permissions import sync_roles_at_the_end
        from plant.services.import_subjects import conveyors, incidents, running_hours  # noqa: F401  (these too)
        from plant.views.asked import KeyConverter

        register_converter(KeyConverter, "key")
        post_migrate.connect(sync_roles_at_the_end, dispatch_uid="plant.sync_roles")
