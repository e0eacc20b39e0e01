"""The dossier of an installation on paper: place, sheet, as-built record, checks, timeline."""

from __future__ import annotations

from typing import Any

from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from installs.models import Fitting, FitUp, Installation
from installs.selectors import zones_of
from installs.selectors.sheets import GROUPS, value_words
from installs.selectors.timeline import timeline_of
from plant.calc.units import QuantityKind, UnitSystem, format_quantity, format_reading
from plant.panels import panels_for
from plant.printing import pdf


def moment(at: Any) -> str:
    return date_format(timezone.localtime(at), "Y-m-d H:i") if at else "–"


def section(title: str, heads: list[str], rows: list[list[str]], words: str = "", **more: Any) -> dict[str, Any]:
    return {"title": title, "heads": heads, "rows": rows, "words": words, **more}


def spec_section(row: Installation, system: UnitSystem) -> dict[str, Any]:
    """The version of the sheet that it was fitted to."""
    sheet = row.sheet
    if sheet is None:
        return section(_("Spec sheet"), [], [], _("No version of the sheet was kept when it was fitted."))
    labels = {each.name: str(each.verbose_name) for each in row.device.device_model._meta.concrete_fields}
    pairs = [
        [labels[name], value_words(name, sheet.content.get(name), system)] for _label, names in GROUPS for name in names
    ]
    return section(
        _("Spec sheet %(n)s of %(model)s") % {"n": sheet.number, "model": row.device.device_model}, [], pairs
    )


def fit_up_section(fitting: Fitting, system: UnitSystem) -> dict[str, Any]:
    """The measures as read on the tape; what was not measured is left out."""
    sheet = FitUp.objects.filter(fitting=fitting).first()
    pairs = []
    for each in FitUp._meta.concrete_fields if sheet else ():
        value = getattr(sheet, each.name)
        if each.name.endswith("_mm") and value is not None:
            pairs.append([str(each.verbose_name), format_reading(value, QuantityKind.LENGTH_MM, system)])
    return section(_("As built: fit-up"), [], pairs, "" if pairs else _("No measure of the fit-up is in the book."))


def fitting_sections(fitting: Fitting, system: UnitSystem) -> list[dict[str, Any]]:
    points = [
        [
            each.get_point_display(),
            str(each.cycle),
            moment(each.confirmed_at),
            str(each.confirmed_by),
            each.passed_over_reason,
        ]
        for each in fitting.hold_points.current().select_related("confirmed_by")
    ]
    runs = [
        [moment(each.started_at), _("loaded") if each.is_loaded else _("empty"), f"{each.minutes:g}", each.note]
        for each in fitting.trial_runs.current()
    ]
    torques = [
        [
            f"{each.fastener.place} {each.number}",
            format_quantity(each.target_nm, QuantityKind.TORQUE_NM, system)
            + (" " + _("(estimate)") if each.is_estimate else ""),
            format_reading(each.torque_nm, QuantityKind.TORQUE_NM, system),
            str(each.instrument or "–"),
            each.override_reason,
        ]
        for each in fitting.torques.current().select_related("fastener", "instrument")
    ]
    none = _("None is in the book.")
    return [
        fit_up_section(fitting, system),
        section(
            _("Hold points"),
            [_("Hold point"), _("Cycle"), _("When"), _("Who"), _("Why passed over")],
            points,
            "" if points else none,
            numbers=[1],
        ),
        section(
            _("Trial runs"), [_("Started"), _("Belt"), _("Minutes"), _("Note")], runs, "" if runs else none, numbers=[2]
        ),
        section(
            _("Torques"),
            [_("Fastener"), _("Target"), _("As left"), _("Instrument"), _("Why this tool all the same")],
            torques,
            "" if torques else none,
            numbers=[1, 2],
        ),
    ]


def dossier_pdf(request: Any, row: Installation, *, paper: str) -> bytes:
    """All that is known of one installation, for the binder; apps above add sections at place "dossier"."""
    system = request.user.unit_system
    fitting = Fitting.objects.filter(installation=row).first()
    sections = [spec_section(row, system)]
    photos: list[dict[str, str]] = []
    images: dict[str, bytes] = {}
    if fitting is not None:
        sections += fitting_sections(fitting, system)
        for point in fitting.hold_points.current().filter(photo__isnull=False).select_related("photo"):
            name = f"photo-{point.photo_id}.{point.photo.file.name.rsplit('.', 1)[-1]}"
            with point.photo.file.open("rb") as file:
                images[name] = file.read()
            photos.append({"name": name, "caption": f"{point.get_point_display()}, {moment(point.confirmed_at)}"})
    sections += panels_for("dossier", request, row)
    events = [[moment(each.at), each.what, each.detail] for each in timeline_of(request, row)]
    sections.append(section(_("Timeline"), [_("When"), _("What"), _("Detail")], events, columns=None))
    metres = format_quantity(row.chainage_m, QuantityKind.DISTANCE_M, system)
    data = {
        "title": _("%(tag)s device %(number)s") % {"tag": row.conveyor.tag, "number": row.device.number},
        "lede": _("%(model)s on the %(strand)s at %(place)s, in service since %(since)s.")
        % {
            "model": row.device.device_model,
            "strand": row.get_strand_display(),
            "place": metres,
            "since": moment(row.installed_at),
        },
        "foot": _("Installation dossier, printed %(when)s") % {"when": moment(timezone.now())},
        "care": [
            _("This record tells what was done. It does not make the belt safe to touch or to start."),
            _(
                "Follow the site's lockout and permit procedure; mind stored energy, pinch points and lifting. Site "
                "procedures, local codes, the maker's instructions and licensed practice come first."
            ),
        ],
        "words": {
            "place": _("The place"),
            "carry": _("carry strand"),
            "return_strand": _("return strand"),
            "tail": _("tail"),
            "head": _("head, %(length)s")
            % {"length": format_quantity(row.conveyor.length_m, QuantityKind.DISTANCE_M, system)},
        },
        "belt": {
            "length_m": row.conveyor.length_m,
            "strand": row.strand,
            "chainage_m": min(row.chainage_m, row.conveyor.length_m),
            "zones": [{"low": each.low_m, "high": each.high_m} for each in zones_of(row)],
        },
        "place": [
            [_("Conveyor"), f"{row.conveyor.tag} {row.conveyor.name}"],
            [_("Place"), f"{row.get_strand_display()}, {metres}"],
            [_("Access"), row.access or _("not stated")],
            [_("Serial number"), row.device.serial or _("not stated")],
            [_("Label"), row.device.label_code],
        ],
        "sections": sections,
        "photos": photos,
    }
    return pdf("installs/dossier.typ", data, paper=paper, images=images)
