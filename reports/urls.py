"""Addresses of this app."""

from django.urls import URLPattern, path

from reports.views import effect, life, months, periods, study_notes

urlpatterns: list[URLPattern] = [
    path("life/", life.life, name="life"),
    path("months/", months.month_list, name="month-list"),
    path("months/new/", months.month_create, name="month-create"),
    path("months/e-mail/", months.month_subscribe, name="month-subscribe"),
    path("months/e-mail/end/<str:token>/", months.month_mail_end, name="month-mail-end"),
    path("months/<key:pk>/", months.month_detail, name="month-detail"),
    path("months/<key:pk>/comment/", months.MonthComment.as_view(), name="month-update"),
    path("months/<key:pk>/publish/", months.month_publish, name="month-publish"),
    path("months/<key:pk>/month.pdf", months.month_paper, name="month-pdf"),
    path("months/<key:pk>/month.xlsx", months.month_book, name="month-xlsx"),
    path("months/<key:pk>/rows/<slug:key>/", months.month_rows, name="month-rows"),
    path("effect/", effect.EffectList.as_view(), name="effect-list"),
    path("effect/periods/", periods.period_comparison, name="period-comparison"),
    path("effect/method.txt", effect.effect_list_method, name="effect-list-method"),
    path("installations/<key:pk>/effect/", effect.effect_detail, name="effect-detail"),
    path("installations/<key:pk>/effect/data.csv", effect.effect_data, name="effect-data"),
    path("installations/<key:pk>/effect/reference.csv", effect.effect_reference, name="effect-reference"),
    path("installations/<key:pk>/effect/method.txt", effect.effect_method, name="effect-method"),
    path("installations/<key:pk>/effect/window/", effect.StudyWindowCreate.as_view(), name="study-window-create"),
    path("installations/<key:pk>/effect/notes/", study_notes.StudyNoteCreate.as_view(), name="study-note-create"),
    path("study-notes/<key:pk>/correct/", study_notes.StudyNoteCorrect.as_view(), name="study-note-correct"),
    path("study-notes/<key:pk>/withdraw/", study_notes.study_note_withdraw, name="study-note-withdraw"),
    path("installations/<key:pk>/effect/rule/", effect.back_to_rule, name="study-window-withdraw"),
]
