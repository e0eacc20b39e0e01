from django.apps import AppConfig


class ReportsConfig(AppConfig):
    name = "reports"

    def ready(self) -> None:
        from reports import panels, permissions  # noqa: F401  (registers rights, navigation and panels)
        from reports.files import month_papers  # noqa: F401  (registers papers)
        from reports.services import names  # noqa: F401  (where names of people stand)
        from reports.services.kept_topics import register_topics

        register_topics()
