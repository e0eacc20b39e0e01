from django.apps import AppConfig


class InstallsConfig(AppConfig):
    name = "installs"

    def ready(self) -> None:
        from installs import panels, permissions  # noqa: F401  (registers rights, navigation and panels)
        from installs.services import import_subjects  # noqa: F401  (registers what the import desk takes)
