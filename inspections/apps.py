from django.apps import AppConfig


class InspectionsConfig(AppConfig):
    name = "inspections"

    def ready(self) -> None:
        # Registers rights, navigation and panels, kinds of jobs, and what follows an installation.
        from inspections import jobs, panels, permissions, receivers  # noqa: F401
        from inspections.services import names  # noqa: F401  (where names of people stand)
