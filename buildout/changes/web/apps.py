from typing import Any

from django.apps import AppConfig


def put_away(task_result: Any, **_: Any) -> None:
    """After the worker is done with a proposal or a comparison, its own record of the task is of no more use."""
    from django_tasks_db import DatabaseBackend

    from buildout.changes.web.comparisons import work_out_comparison
    from buildout.changes.web.services import forget_task, work_out

    ours = (work_out.func, work_out_comparison.func)
    if task_result.task.func in ours and isinstance(work_out.get_backend(), DatabaseBackend):
        forget_task(task_result.id)


class ChangesConfig(AppConfig):
    name = "buildout.changes.web"
    label = "changes"

    def ready(self) -> None:
        from django_tasks.signals import task_finished

        from buildout.builds.web.services import open_office
        from buildout.changes.web.office import LazyOffice

        open_office(LazyOffice())
        task_finished.connect(put_away, dispatch_uid="changes.put_away")
