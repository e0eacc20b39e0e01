from django.apps import AppConfig


class InstallsConfig(AppConfig):
    name = "installs"

    def ready(self) -> None:
        from installs import panels, permissions  # noqa: F401  (registers rights, navigation and panels)
        from installs.services import import_subjects, names  # noqa: F401  (what the import desk takes, where names stand)
