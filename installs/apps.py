from django.apps import AppConfig


class InstallsConfig(AppConfig):
    name = "installs"

    def ready(self) -> None:
        from installs import import_subjects, panels, permissions  # noqa: F401  (registers rights, navigation and panels)
