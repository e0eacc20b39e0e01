from django.apps import AppConfig
from django.db.models.signals import post_migrate


class PlantConfig(AppConfig):
    name = "plant"

    def ready(self) -> None:
        from plant.permissions import sync_roles

        post_migrate.connect(sync_roles, dispatch_uid="plant.sync_roles")
