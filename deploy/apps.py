from __future__ import annotations

from django.apps import AppConfig


class DeployConfig(AppConfig):
    """Connects the broker: a job that is asked for sends its nudge through Celery."""

    name = "deploy"

    def ready(self) -> None:
        from django.conf import settings

        from deploy import celery_app, system_checks  # noqa: F401  (registers the checks)
        from plant.services.jobs import use_nudge

        use_nudge(celery_app.send_nudge if settings.SEND_NUDGES else None)
