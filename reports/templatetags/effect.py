"""Tags for the words of comparisons."""

from __future__ import annotations

from django import template

from reports.words import belts, reference_groups, study_windows, verdicts

register = template.Library()
register.filter(belts.happened_words)
register.filter(study_windows.left_out_words)
register.filter(reference_groups.reference_words)
register.filter(reference_groups.beside_words)
register.filter(verdicts.reason_words)
register.filter(verdicts.reasons_words)
register.filter(verdicts.run_hours)
register.filter(verdicts.in_hours)
register.filter(verdicts.ratio_words)
register.filter(verdicts.index_words)
register.filter(verdicts.one_sided_words)
register.filter(verdicts.answer_mark)
register.filter(verdicts.compared_words)
register.filter(verdicts.judged_mark)
register.filter(verdicts.rate_words)
register.filter(verdicts.bar_rate)
register.filter(verdicts.sides)
register.filter(verdicts.place_of)
register.filter(verdicts.verdict_words)
register.filter(verdicts.verdict_mark)
register.filter(verdicts.smallest_words)
register.filter(verdicts.limit_words)
register.filter(verdicts.sound_words)
register.filter(verdicts.chosen_words)
register.filter(verdicts.act_words)
register.filter(verdicts.alarm_words)
register.filter(verdicts.watch_words)
register.filter(verdicts.study_sentence)
