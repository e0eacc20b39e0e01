"""Sentences with people in them that the site writes into rows: with them a name is found again, and nothing typed."""

from __future__ import annotations

from django.utils.translation import gettext_lazy as _

ASKED_FOR = _("asked for by %(who)s")
DONE_WHILE_THERE = _("done while there by %(who)s")
READINGS_COUNT = _("The readings of %(who)s count, says %(by)s.")
