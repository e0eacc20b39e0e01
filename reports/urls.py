"""Addresses of this app."""

from django.urls import path

from reports.views import effect

urlpatterns: list = [
    path("effect/", effect.EffectList.as_view(), name="effect-list"),
    path("installations/<int:pk>/effect/", effect.effect_detail, name="effect-detail"),
    path("installations/<int:pk>/effect/window/", effect.StudyWindowCreate.as_view(), name="study-window-create"),
    path("installations/<int:pk>/effect/rule/", effect.back_to_rule, name="study-window-withdraw"),
]
