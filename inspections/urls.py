"""Addresses of this app."""

from django.urls import path

from inspections.views import check_plans, tasks

urlpatterns: list = [
    # Checks that are due.
    path("checks/", tasks.TaskList.as_view(), name="task-list"),
    path("checks/<int:pk>/", tasks.task_detail, name="task-detail"),
    path("checks/<int:pk>/put-off/", tasks.TaskPutOff.as_view(), name="task-put-off"),
    path("checks/<int:pk>/withdraw/", tasks.TaskWithdraw.as_view(), name="task-withdraw"),
    path("installations/<int:pk>/checks/create/", tasks.TaskCreate.as_view(), name="task-create"),
    # What is checked, and how often.
    path("check-kinds/", check_plans.CheckKindList.as_view(), name="check-kind-list"),
    path("check-kinds/create/", check_plans.CheckKindCreate.as_view(), name="check-kind-create"),
    path("check-kinds/<int:pk>/", check_plans.check_kind_detail, name="check-kind-detail"),
    path("check-kinds/<int:pk>/change/", check_plans.CheckKindChange.as_view(), name="check-kind-update"),
    path(
        "check-kinds/<int:pk>/readings/create/", check_plans.ReadingFieldCreate.as_view(), name="reading-field-create"
    ),
    path("check-kinds/readings/<int:pk>/", check_plans.ReadingFieldChange.as_view(), name="reading-field-update"),
    path("check-plans/", check_plans.CheckPlanList.as_view(), name="check-plan-list"),
    path("check-plans/create/", check_plans.CheckPlanCreate.as_view(), name="check-plan-create"),
    path("check-plans/<int:pk>/", check_plans.check_plan_detail, name="check-plan-detail"),
    path("check-plans/<int:pk>/change/", check_plans.CheckPlanChange.as_view(), name="check-plan-update"),
    path("check-plans/<int:pk>/suspend/", check_plans.CheckPlanSuspend.as_view(), name="check-plan-suspend"),
    path(
        "installations/<int:pk>/check-plans/create/",
        check_plans.OwnCheckPlanCreate.as_view(),
        name="check-plan-create-own",
    ),
]
