"""Checks that are due: the list, one task, and what a planner does with it."""

from __future__ import annotations

import uuid
from typing import Any

from django.http import HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from inspections.forms.tasks import AskForTaskForm, PutOffForm, TaskFilter, WithdrawForm
from inspections.models import Task
from inspections.selectors.tasks import story_of, with_deferrals
from inspections.services.tasks import ask_for_task, put_off_task, withdraw_task
from inspections.tables.tasks import ClosedTaskTable, TaskTable
from installs.models import Installation
from plant.permissions import PlantRequest, get_visible, right
from plant.views.lists import RegisterList
from plant.views.records import RecordPage


class TaskList(RegisterList):
    """Open checks, the latest first; closed ones where they are asked for."""

    template_name = "inspections/task_list.html"
    right = "inspections.view_task"
    title = gettext_lazy("Checks")
    filter_class = TaskFilter
    empty_words = gettext_lazy(
        "No check is open. Checks are made each night from the check plans; write one for a device model first."
    )

    @property
    def is_closed_list(self) -> bool:
        return self.request.GET.get("state") == "closed"

    @property
    def table_class(self) -> Any:
        return ClosedTaskTable if self.is_closed_list else TaskTable

    def rows(self) -> Any:
        known: Any = with_deferrals(Task.objects.of_plant(self.request.plant).with_place())
        if self.is_closed_list:
            # By the day they were due: that order has an index, however many there are.
            return known.filter(closed_at__isnull=False).order_by("-due_on", "-pk")
        return known.open().with_last_grade().order_by("closes_on", "pk")

    def get_lede(self) -> str:
        open_tasks = Task.objects.of_plant(self.request.plant)
        today = timezone.localdate()
        late, first = open_tasks.overdue(today), open_tasks.overdue(today).order_by("closes_on").first()
        n_late = late.count()
        if first is None:
            return _("No check is late.")
        return ngettext(
            "%(n)s check is late, by %(days)s days.", "%(n)s checks are late, the longest by %(days)s days.", n_late
        ) % {"n": n_late, "days": first.days_late(today)}


def tasks_to_read() -> Any:
    return with_deferrals(Task.objects.with_place().select_related("check_plan", "closed_by", "visit__visited_by"))


@right("inspections.view_task")
def task_detail(request: PlantRequest, pk: int) -> HttpResponse:
    """Why then, the window, what happened to it, and the acts."""
    task = get_visible(request, tasks_to_read(), "inspections.view_task", pk=pk)
    story = story_of(task)
    today = timezone.localdate()
    context = {
        "title": str(task),
        "task": task,
        "story": story,
        "days": task.days_late(today),
        "today": today,
        "dates_waiting": task.dates_waiting(today),
    }
    return render(request, "inspections/task_detail.html", context)


class TaskAct(RecordPage):
    """A page that does one thing with one open task."""

    template_name = "inspections/task_act.html"

    def get_row(self) -> Task:
        return get_visible(self.request, tasks_to_read(), self.right, pk=self.kwargs["pk"])

    def form_kwargs(self) -> dict[str, Any]:
        known = super().form_kwargs()
        known.pop("instance", None)
        return known

    def initial(self) -> dict[str, Any]:
        return {"version": self.row.version, "client_key": uuid.uuid4()}

    def next_url(self, row: Any) -> str:
        return self.row.get_absolute_url()

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        return super().get_context_data(task=self.row, **kwargs)


class TaskPutOff(TaskAct):
    right = "inspections.put_off_task"
    form_class = PutOffForm
    button = gettext_lazy("Put off")
    done_words = gettext_lazy("Put off. The reason stays with the check and is counted.")

    def get_title(self) -> str:
        return _("Put off: %(task)s") % {"task": self.row}

    def act(self, form: PutOffForm) -> Any:
        return put_off_task(task=self.row, by=self.request.user, **form.cleaned_data)


class TaskWithdraw(TaskAct):
    right = "inspections.change_task"
    form_class = WithdrawForm
    button = gettext_lazy("Withdraw")
    done_words = gettext_lazy("Withdrawn. The next check of its plan counts from today.")

    def get_title(self) -> str:
        return _("Withdraw: %(task)s") % {"task": self.row}

    def act(self, form: WithdrawForm) -> Any:
        return withdraw_task(task=self.row, by=self.request.user, **form.cleaned_data)


class TaskCreate(RecordPage):
    """Asks for a check at one installation, besides the plan."""

    right = "inspections.add_task"
    form_class = AskForTaskForm
    button = gettext_lazy("Ask for this check")
    asks_again = True
    done_words = gettext_lazy("The check is open now.")

    def get_row(self) -> None:
        self.installation = get_visible(
            self.request,
            Installation.objects.select_related("conveyor", "device", "plant"),
            self.right,
            pk=self.kwargs["pk"],
        )

    def get_title(self) -> str:
        return _("Ask for a check: %(device)s") % {"device": self.installation}

    def initial(self) -> dict[str, Any]:
        return {"due_on": timezone.localdate()}

    def cancel_url(self) -> str:
        return reverse("task-list")

    def act(self, form: AskForTaskForm) -> Task:
        return ask_for_task(
            installation=self.installation,
            by=self.request.user,
            client_key=form.cleaned_data["client_key"],
            **form.values(),
        )
