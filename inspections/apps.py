from django.apps import AppConfig


class InspectionsConfig(AppConfig):
    name = "inspections"

    def ready(self) -> None:
        from inspections import panels, permissions  # noqa: F401  (registers rights, navigation and panels)
