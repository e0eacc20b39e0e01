"""Addresses of this app."""

from django.urls import URLPattern, path

from inspections.views import actions, backlog, check_plans, opportunity, round_api, round_phone, rounds, tasks, visits

urlpatterns: list[URLPattern] = [
    # Checks that are due.
    path("checks/", tasks.TaskList.as_view(), name="task-list"),
    path("checks/<key:pk>/", tasks.task_detail, name="task-detail"),
    path("checks/<key:pk>/put-off/", tasks.TaskPutOff.as_view(), name="task-put-off"),
    path("checks/<key:pk>/withdraw/", tasks.TaskWithdraw.as_view(), name="task-withdraw"),
    path("installations/<key:pk>/checks/create/", tasks.TaskCreate.as_view(), name="task-create"),
    # What is checked, and how often.
    path("check-kinds/", check_plans.CheckKindList.as_view(), name="check-kind-list"),
    path("check-kinds/create/", check_plans.CheckKindCreate.as_view(), name="check-kind-create"),
    path("check-kinds/<key:pk>/", check_plans.check_kind_detail, name="check-kind-detail"),
    path("check-kinds/<key:pk>/change/", check_plans.CheckKindChange.as_view(), name="check-kind-update"),
    path(
        "check-kinds/<key:pk>/readings/create/", check_plans.ReadingFieldCreate.as_view(), name="reading-field-create"
    ),
    path("check-kinds/readings/<key:pk>/", check_plans.ReadingFieldChange.as_view(), name="reading-field-update"),
    path("check-plans/", check_plans.CheckPlanList.as_view(), name="check-plan-list"),
    path("check-plans/create/", check_plans.CheckPlanCreate.as_view(), name="check-plan-create"),
    path("check-plans/year/", check_plans.plan_year, name="plan-year"),
    path("check-plans/<key:pk>/", check_plans.check_plan_detail, name="check-plan-detail"),
    path("check-plans/<key:pk>/change/", check_plans.CheckPlanChange.as_view(), name="check-plan-update"),
    path("check-plans/<key:pk>/suspend/", check_plans.CheckPlanSuspend.as_view(), name="check-plan-suspend"),
    path(
        "installations/<key:pk>/check-plans/create/",
        check_plans.OwnCheckPlanCreate.as_view(),
        name="check-plan-create-own",
    ),
    # Visits and their readings.
    path("installations/<key:pk>/visit/", visits.create_visit, name="visit-create"),
    path("checks/<key:pk>/could-not-do/", visits.NotDoneReport.as_view(), name="task-could-not-do"),
    path("visits/aside/<key:pk>/", round_phone.set_aside_detail, name="set-aside"),
    path("visits/twice/<key:pk>/", round_phone.which_counts, name="twice-closed"),
    # The round on the phone: the page and its worker, which hold nothing of a plant, and what they ask the site.
    path("round/", round_phone.round_page, name="round-phone"),
    path("round/words.js", round_phone.round_words, name="round-words"),
    path("round/worker.js", round_phone.round_worker, name="round-worker"),
    path("round/api/who/", round_api.who, name="round-who"),
    path("round/api/pack/", round_api.pack, name="round-pack"),
    path("round/api/photos/", round_api.take_photo, name="round-photos"),
    path("round/api/aside/", round_api.take_set_aside, name="round-aside"),
    path("round/api/entries/", round_api.take_entry, name="round-entries"),
    path("visits/<key:pk>/", visits.visit_detail, name="visit-detail"),
    path("visits/<key:pk>/correct/", visits.change_visit, name="visit-correct"),
    path("readings/", visits.ReadingList.as_view(), name="reading-list"),
    path("backlog/", backlog.backlog, name="backlog"),
    # A belt stopped: what fits now.
    path("opportunity/", opportunity.opportunity, name="opportunity"),
    path("opportunity/put-on/", opportunity.put_on, name="opportunity-put-on"),
    # Rounds: the planner's board, shifts, and each technician's own.
    path("rounds/", rounds.board, name="round-list"),
    path("rounds/lay/", rounds.lay, name="round-lay"),
    path("rounds/progress/", rounds.progress, name="round-progress"),
    path("rounds/stop/", rounds.stop_laying, name="round-stop"),
    path("rounds/publish/", rounds.publish, name="round-publish"),
    path("rounds/<key:pk>/", rounds.round_detail, name="round-detail"),
    path("rounds/<key:pk>/sheet.pdf", rounds.round_sheet, name="round-sheet"),
    path("rounds/sheets.pdf", rounds.day_sheets, name="round-sheets"),
    path("rounds/calendar/", rounds.own_calendar, name="round-calendar"),
    path("rounds/calendar/renew/", rounds.renew_calendar, name="round-calendar-renew"),
    path("calendar/<str:key>.ics", rounds.calendar_feed, name="calendar-feed"),
    path("rounds/stops/<key:pk>/move/", rounds.move_stop, name="round-stop-move"),
    path("rounds/stops/<key:pk>/out/", rounds.take_out_stop, name="round-stop-out"),
    path("shifts/create/", rounds.ShiftCreate.as_view(), name="shift-create"),
    path("shifts/<key:pk>/change/", rounds.ShiftChange.as_view(), name="shift-update"),
    path("shifts/<key:pk>/away/", rounds.ShiftAway.as_view(), name="shift-away"),
    path("shifts/<key:pk>/swap/", rounds.ShiftSwap.as_view(), name="shift-swap"),
    path("shifts/<key:pk>/back/", rounds.shift_back, name="shift-back"),
    path("shifts/<key:pk>/skills/", rounds.profile_of_shift, name="shift-skills"),
    path("technicians/<key:pk>/change/", rounds.ProfileChange.as_view(), name="technician-profile-update"),
    # Actions that findings call for.
    path("actions/", actions.ActionList.as_view(), name="action-list"),
    path("actions/<key:pk>/", actions.action_detail, name="action-detail"),
    path("actions/<key:pk>/change/", actions.ActionUpdate.as_view(), name="action-update"),
    path("actions/<key:pk>/give/", actions.give_action, name="action-give"),
    path("actions/<key:pk>/done/", actions.ActionDone.as_view(), name="action-done"),
    path("installations/<key:pk>/actions/create/", actions.ActionCreate.as_view(), name="action-create"),
]
