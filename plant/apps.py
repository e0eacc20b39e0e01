from django.apps import AppConfig
from django.db.models.signals import post_migrate


class PlantConfig(AppConfig):
    name = "plant"

    def ready(self) -> None:
        from plant import main_pages  # noqa: F401  (registers the masthead's entries)
        from plant.permissions import sync_roles

        post_migrate.connect(sync_roles, dispatch_uid="plant.sync_roles")
