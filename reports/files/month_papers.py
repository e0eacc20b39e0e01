"""Published months as papers beside the files in which a plant is taken out."""

from __future__ import annotations

import logging
from collections.abc import Iterator

import typst

from plant.files.plant_export import papers_of
from plant.models import Plant
from reports.files.month_pdf import month_pdf
from reports.models import MonthlyReport
from reports.services.months import read_month, report_head

log = logging.getLogger(__name__)


@papers_of
def month_papers(plant: Plant, alias: str) -> Iterator[tuple[str, bytes]]:
    """Each published edition. One that cannot be set any more is left out; its figures go out all the same."""
    published = MonthlyReport._base_manager.using(alias).filter(plant=plant, published_at__isnull=False)
    for report in published.select_related("published_by", "plant").order_by("month", "edition").iterator(20):
        try:
            content, _rows = read_month(report)
            paper = month_pdf(content, report_head(report))
        except (KeyError, typst.TypstError):
            log.exception("month %s is kept in a form that makes no paper any more", report.pk)
            continue
        yield f"month-{report.month:%Y-%m}-edition-{report.edition}.pdf", paper
