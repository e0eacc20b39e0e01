from django.apps import AppConfig
from django.db.models.signals import post_migrate
from django.urls import register_converter


class PlantConfig(AppConfig):
    name = "plant"

    def ready(self) -> None:
        from plant import import_job, import_subjects, main_pages, receivers  # noqa: F401  (they register themselves)
        from plant.permissions import sync_roles_at_the_end
        from plant.views.asked import KeyConverter

        register_converter(KeyConverter, "key")
        post_migrate.connect(sync_roles_at_the_end, dispatch_uid="plant.sync_roles")
