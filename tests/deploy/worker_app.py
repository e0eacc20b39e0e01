from django.apps import AppConfig


class WorkerApp(AppConfig):
    name = "tests.deploy"
    label = "tests_deploy"

    def ready(self) -> None:
        from tests.deploy import job_for_tests  # noqa: F401  (registers the kind)
