from django.apps import AppConfig
from django.db.models.signals import post_migrate


class PlantConfig(AppConfig):
    name = "plant"

    def ready(self) -> None:
        from plant import import_job, import_subjects, main_pages, receivers  # noqa: F401  (they register themselves)
        from plant.permissions import sync_roles

        post_migrate.connect(sync_roles, dispatch_uid="plant.sync_roles")
