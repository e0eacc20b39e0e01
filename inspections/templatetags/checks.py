"""Tags for the words of checks, actions and rounds: {{ task|put_off_words }}, {{ task|late_words:today }}."""

from __future__ import annotations

from django import template

from inspections.words import actions, fitting_clashes, tasks

register = template.Library()
register.filter(tasks.put_off_words)
register.filter(tasks.late_words)
register.filter(tasks.to_be_decided)
register.filter(actions.action_late_words)
register.filter(fitting_clashes.clash_words)
