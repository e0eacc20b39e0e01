"""The base of every list: filter, sort, page, and files from one query and one set of columns."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from django.http import HttpResponse, StreamingHttpResponse
from django.http.response import HttpResponseBase
from django.utils import timezone
from django.views.generic import TemplateView
from django_tables2 import RequestConfig

from plant.files.tables import XLSX_TYPE, csv_lines, lines_of, workbook_of
from plant.permissions import PlantRequest
from plant.permissions import right as needs_right

PER_PAGE = 50


class RegisterList(TemplateView):
    """A list over one queryset. Subclasses name `right`, `title`, `table_class`, `filter_class` and `rows`.

    `?format=csv` and `?format=xlsx` answer the same rows, unpaged, as files.
    """

    request: PlantRequest
    template_name = "plant/register_list.html"
    right: str = ""
    title: Any = ""
    lede: Any = ""
    empty_words: Any = ""
    table_class: Any = None
    filter_class: Any = None
    create_url_name = ""
    create_label: Any = ""
    create_right = ""
    per_page = PER_PAGE

    @classmethod
    def as_view(cls, **initkwargs: Any) -> Any:
        return needs_right(cls.right)(super().as_view(**initkwargs))

    def rows(self) -> Any:
        """The queryset of the current plant, with what the columns need."""
        raise NotImplementedError

    def table_options(self) -> dict[str, Any]:
        """What the table is made with besides rows and request."""
        return {}

    def filtered(self) -> Any:
        if self.filter_class is None:
            self.filterset = None
            return self.rows()
        self.filterset = self.filter_class(self.request.GET or None, queryset=self.rows(), request=self.request)
        # A filter that was not understood must not pass for one that lets everything through.
        return self.filterset.qs if self.is_filter_understood else self.filterset.qs.none()

    @property
    def is_filter_understood(self) -> bool:
        return self.filterset is None or not self.filterset.form.errors

    def get(self, request: PlantRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        rows = self.filtered()
        self.table = self.table_class(rows, request=request, **self.table_options())
        wanted = request.GET.get("format") if self.is_filter_understood else None
        if wanted == "csv":
            return self.as_csv()
        if wanted == "xlsx":
            return self.as_xlsx()
        self.table.paginate(per_page=self.per_page)
        self.table.page = self.table.paginator.get_page(request.GET.get("page"))
        status = 200 if self.is_filter_understood else 422
        return self.render_to_response(self.get_context_data(**kwargs), status=status)

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        query = self.request.GET.copy()
        for name in ("format", "page"):
            query.pop(name, None)
        return super().get_context_data(
            table=self.table,
            filterset=self.filterset,
            title=self.title,
            lede=self.get_lede(),
            empty_words=self.empty_words,
            create_url_name=self.create_url_name,
            create_label=self.create_label,
            create_right=self.create_right or self.right,
            query=query.urlencode(),
            **kwargs,
        )

    def get_lede(self) -> Any:
        return self.lede

    def lines(self) -> Iterator[list[Any]]:
        RequestConfig(self.request, paginate=False).configure(self.table)
        return lines_of(self.table, self.request.plant.zone)

    def file_name(self, suffix: str) -> str:
        plant = str(self.request.plant).lower().replace(" ", "-")
        return f"{plant}-{self.request.path.strip('/').replace('/', '-')}-{timezone.localdate():%Y-%m-%d}.{suffix}"

    def as_csv(self) -> StreamingHttpResponse:
        answer = StreamingHttpResponse(csv_lines(self.lines()), content_type="text/csv")
        answer["Content-Disposition"] = f'attachment; filename="{self.file_name("csv")}"'
        return answer

    def as_xlsx(self) -> HttpResponse:
        answer = HttpResponse(workbook_of(self.lines()), content_type=XLSX_TYPE)
        answer["Content-Disposition"] = f'attachment; filename="{self.file_name("xlsx")}"'
        return answer
