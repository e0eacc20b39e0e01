"""Columns of the list of imports."""

from __future__ import annotations

from typing import Any

import django_tables2 as tables
from django.utils.html import format_html
from django.utils.translation import gettext_lazy as _

from plant.models import ImportBatch
from plant.services.import_subjects.shape import import_subjects
from plant.tables.columns import NUMBER, MomentColumn, RegisterTable


class ImportTable(RegisterTable):
    created_at = MomentColumn(verbose_name=_("Sent"))
    file_name = tables.Column(verbose_name=_("File"))
    subject = tables.Column(verbose_name=_("What"))
    standing = tables.Column(verbose_name=_("State"), empty_values=(), orderable=False)
    n_rows = tables.Column(verbose_name=_("Rows"), attrs=NUMBER)
    n_written = tables.Column(verbose_name=_("New"), attrs=NUMBER)
    n_changed = tables.Column(verbose_name=_("Changed"), attrs=NUMBER)
    n_unchanged = tables.Column(verbose_name=_("Already known"), attrs=NUMBER)
    n_repeated = tables.Column(verbose_name=_("Equal rows"), attrs=NUMBER)
    n_refused = tables.Column(verbose_name=_("Refused"), attrs=NUMBER)
    by = tables.Column(verbose_name=_("By"), accessor="created_by__username", default="")

    class Meta:
        model = ImportBatch
        fields = ()
        order_by = "-created_at"

    def render_file_name(self, record: ImportBatch, value: str) -> str:
        return format_html('<a href="{}">{}</a>', record.get_absolute_url(), value)

    def value_file_name(self, value: str) -> str:
        return value

    def render_subject(self, value: str) -> Any:
        return next((str(each.label) for each in import_subjects() if each.name == value), value)

    def render_standing(self, record: ImportBatch) -> Any:
        return record.standing_words
