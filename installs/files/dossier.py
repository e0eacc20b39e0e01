"""The dossier of an installation on paper: place, fit-up with its verdicts, record of the work, checks, timeline."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from django.template.loader import render_to_string
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.text import capfirst
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from installs.charts.belt_offsets import offset_charts
from installs.files.fit_up_sheet import drawing_svg, printed_sections, shown_sheet
from installs.models import BeltOffset, Fitting, HoldPoint, Installation, Isolation, PassedFastener, TrialRun
from installs.selectors.belt_offsets import change_of, occasions_of, permitted_on
from installs.selectors.commissioning import acceptance_of, current_runs, offsets_of, target_of
from installs.selectors.fit_up import measures_of, sheet_of
from installs.selectors.installations import zones_of
from installs.selectors.timeline import happenings_of
from installs.selectors.torque import SignedOff, passed_over, torque_rows
from installs.words.belt_offsets import change_words, occasion_words, offset_words, station_table, summary_lines
from installs.words.commissioning import adjustment_words, commissioning_words
from installs.words.job_steps import people_words, time_words
from installs.words.sheets import GROUPS, value_words
from installs.words.timeline import timeline_told
from plant.calc.units import QuantityKind, UnitSystem, format_quantity, format_reading
from plant.calc.wording import figure, full_stop
from plant.files.pdf import pdf, print_drawings
from plant.panels import panels_for, strip_of

# How the strip and the offset charts look on paper: greys that differ, and dashes where lines could be mistaken.
STRIP_STYLE = """
text { font-size: 19px; fill: #33393f; } text.number { font-weight: 600; fill: #1a1d21; } text.gap { font-weight: 600; }
.belt { fill: none; stroke: #3a3f45; stroke-width: 4; } .travel { fill: #fff; stroke: #3a3f45; }
path.zone { fill: #cfd8dc; stroke: #5d6b73; stroke-width: .8; } path.zone.overlap { fill: #9aa7ae; }
path.gap { fill: #f3ead9; } .tick { fill: none; stroke: #1a1d21; stroke-width: 1.2; }
.part { fill: #fff; stroke: #4f5863; }
.part.scraper, .part.guard, path.axis { fill: none; } path.axis { stroke: #4f5863; }
.device { fill: #1a1d21; stroke: #fff; stroke-width: .8; }
"""
OFFSET_STYLE = (
    "text { font-size: 15px; } .before { color: #6b737b; } .accepted { color: #1a1d21; } .later { color: #1a1d21; }"
)
VERDICT_WORDS = {"sound": gettext_lazy("met"), "watch": gettext_lazy("look"), "act": gettext_lazy("not met")}


def moment(at: Any) -> str:
    return date_format(timezone.localtime(at), "Y-m-d H:i") if at else "–"


def section(title: str, heads: list[str], rows: list[list[Any]], words: str = "", **more: Any) -> dict[str, Any]:
    """One section; a cell is text, or a mark with its word as `marked` makes it."""
    return {"title": title, "heads": heads, "rows": rows, "words": words, **more}


def sentences(*texts: str) -> str:
    """What people wrote, one after the other, with one full stop between."""
    known = [each for each in texts if each]
    return " ".join([*map(full_stop, known[:-1]), *known[-1:]])


def marked(mark: str, words: Any) -> dict[str, str]:
    return {"mark": mark, "words": str(words)}


class Drawings:
    """The pictures of a dossier by the names under which its sections show them."""

    def __init__(self) -> None:
        self.images: dict[str, bytes] = {}

    def add(self, svgs: Iterable[bytes], name: str) -> list[str]:
        known = {f"{name}-{number}.svg": each for number, each in enumerate(svgs, start=1)}
        self.images |= known
        return list(known)


def spec_section(row: Installation, system: UnitSystem) -> dict[str, Any]:
    """The version of the sheet that it was fitted to."""
    sheet = row.sheet
    if sheet is None:
        return section(_("Spec sheet"), [], [], _("No version of the sheet was kept when it was fitted."))
    labels = {each.name: str(each.verbose_name) for each in row.device.device_model._meta.concrete_fields}
    names = [name for _label, group in GROUPS for name in group]
    pairs = [
        [capfirst(labels[name]), value_words(name, sheet.content.get(name), system)]
        for name in names
        if sheet.content.get(name) not in (None, "")
    ]
    missing = [labels[name] for name in names if sheet.content.get(name) in (None, "")]
    words = _("Not stated: %s.") % ", ".join(missing) if missing else ""
    title = _("Spec sheet %(n)s of %(model)s") % {"n": sheet.number, "model": row.device.device_model}
    return section(title, [], pairs, words)


# --- As built ---------------------------------------------------------------------------------------------------------
def fit_up_sections(fitting: Fitting, system: UnitSystem, drawings: Drawings) -> list[dict[str, Any]]:
    """Every measure of the fit-up with what was wanted, what is permitted and the verdict; the drawing before it."""
    sheet = sheet_of(fitting)
    if sheet is None:
        return [section(_("As built: fit-up"), [], [], _("No measure of the fit-up is in the book."))]
    shown = shown_sheet(fitting, measures_of(sheet), system)
    said = [shown.lede, *shown.to_do, *shown.warnings, sheet.note]
    parts = [
        section(
            _("As built: fit-up"),
            [],
            [],
            " ".join(each for each in said if each),
            drawings=drawings.add([drawing_svg(shown.drawing)], "fit-up"),
            width=48,
        )
    ]
    heads = [_("What"), _("Measured"), _("Wanted"), _("Permitted"), _("Verdict")]
    for each in printed_sections(sheet, shown.lines, system):
        rows = [fit_up_row(row) for row in each["rows"] if row["value"] or row["line"]]
        # Figures stand under each other; a column that also holds words begins at the left.
        numbers = [1, 2] if each["key"] != "square" else [2]
        parts.append(section(each["title"], heads, rows, level=3, numbers=numbers, grow=[0, 3]))
    return parts


def fit_up_row(row: dict[str, Any]) -> list[Any]:
    line = row["line"]
    if line is None:
        return [row["label"], row["value"], "", "", ""]
    source = f" ({line['source']})" if line["source"] and line["permitted"] else ""
    permitted = line["permitted"] + source
    if line["is_start_value"]:  # nobody measured or chose it: it is what the work began from
        return [row["label"], "–", line["measured"], permitted, _("start value")]
    return [row["label"], row["value"] or "–", line["wanted"], permitted, marked(line["mark"], line["verdict"])]


def torque_section(fitting: Fitting, system: UnitSystem) -> dict[str, Any]:
    """Every fastener of the model: who signed it off, with what; who passed it over and why; and those left open."""
    rows: list[list[Any]] = []
    groups = torque_rows(fitting)
    for group in groups:
        target = format_quantity(group.target.torque_nm, QuantityKind.TORQUE_NM, system)
        estimate = f" {_('(estimate)')}" if group.target.is_estimate else ""
        target = f"{target} ± {figure(group.tolerance_pct)} %{estimate}"
        for number, (one, passed) in enumerate(zip(group.signed, group.passed, strict=True), start=1):
            name = f"{group.fastener.place} {number}"
            rows.append([name, target, *torque_cells(one, passed, system)])
    words = _("The model names no fastener.")
    if rows:
        known = {"n": sum(group.n_signed for group in groups), "all": len(rows), "passed": len(passed_over(groups))}
        words = _("%(n)s of %(all)s fasteners are signed off.") % known
        if known["passed"]:
            words = _("%(n)s of %(all)s fasteners are signed off, %(passed)s passed over with a reason.") % known
    heads = [_("Fastener"), _("Target"), _("As left"), _("Verdict"), _("Who, when"), _("Tool, or why passed over")]
    return section(_("Torque"), heads, rows, words, numbers=[2], grow=[5])


def torque_cells(one: SignedOff | None, passed: PassedFastener | None, system: UnitSystem) -> list[Any]:
    """As left, verdict, who and when, and the tool or the reason, of one fastener."""
    if one is None and passed is not None:
        who = f"{passed.passed_by}, {moment(passed.passed_at)}"
        return ["–", marked("watch", _("passed over")), who, passed.reason]
    if one is None:
        return ["–", marked("early", _("not signed off")), "", ""]
    tool = str(one.row.instrument or _("no tool named"))
    if one.row.override_reason:
        tool += ". " + _("Tool in doubt: %s") % one.row.override_reason
    is_within = one.judged.verdict == "within"
    return [
        format_reading(one.row.torque_nm, QuantityKind.TORQUE_NM, system),
        marked("sound", _("within")) if is_within else marked("watch", _("undecided")),
        f"{one.row.signed_by}, {moment(one.row.signed_at)}",
        tool,
    ]


# --- The work ---------------------------------------------------------------------------------------------------------
def people_section(fitting: Fitting) -> dict[str, Any]:
    """Who did the job, under which permit, who accepted it and who took it over."""
    accepted = f"{fitting.accepted_by}, {moment(fitting.accepted_at)}" if fitting.accepted_at else "–"
    handed = "–"
    if fitting.handed_over_at:
        handed = _("%(who)s to %(to)s, %(when)s") % {
            "who": fitting.handed_over_by,
            "to": fitting.handed_over_to,
            "when": moment(fitting.handed_over_at),
        }
    pairs = [
        [_("Crew"), ", ".join(str(each) for each in fitting.crew.all()) or "–"],
        [_("Permit reference"), fitting.permit_reference or "–"],
        [_("Begun"), moment(fitting.begun_at)],
        [_("Accepted by"), accepted],
        [_("Handed over by"), handed],
    ]
    if fitting.accepted_reason:
        pairs.append([_("Accepted with a reason"), fitting.accepted_reason])
    if fitting.open_points:
        pairs.append([_("Open points"), fitting.open_points])
    return section(_("The job and its people"), [], pairs)


def isolation_section(fitting: Fitting, system: UnitSystem) -> dict[str, Any]:
    """One line a cycle: under which isolation it was worked, by whom, and what was adjusted."""
    rows = [
        [
            str(each.cycle),
            f"{moment(each.isolated_at)}, {each.isolated_by}",
            sentences(each.points, each.energies),
            people_words(each),
            _("the fitting itself") if each.cycle == 1 else adjusted_words(each, system),
            f"{moment(each.released_at)}, {each.released_by}" if each.released_at else "–",
        ]
        for each in fitting.isolations.select_related("isolated_by", "released_by").prefetch_related("people")
    ]
    heads = [_("Cycle"), _("Isolated"), _("Points and locks"), _("People with a lock"), _("Work"), _("Locks back")]
    words = "" if rows else _("No isolation is in the book.")
    return section(_("Isolations and adjustments"), heads, rows, words, grow=[1, 2, 3, 4, 5], numbers=[0])


def adjusted_words(isolation: Isolation, system: UnitSystem) -> str:
    """What was moved on both sides and what that means, then what the person wrote of it."""
    if isolation.adjustment is None:
        return "–"
    told = adjustment_words(isolation.adjustment, system)
    return f"{told} {isolation.adjustment_note}".strip()


def corrected_words(row: HoldPoint) -> str:
    """Who wrote the entry anew, when and why, where it is a correction."""
    if row.corrects_id is None:
        return ""
    known = {"who": row.created_by, "when": moment(row.created_at), "why": row.correction_reason}
    return _("Corrected by %(who)s, %(when)s: %(why)s") % known


def point_section(fitting: Fitting) -> dict[str, Any]:
    rows = [
        [
            str(each.cycle),
            each.get_point_display(),
            marked("watch", _("passed over")) if each.passed_over_reason else marked("sound", _("recorded")),
            f"{each.confirmed_by}, {moment(each.confirmed_at)}",
            sentences(each.passed_over_reason, each.note, corrected_words(each)),
        ]
        for each in fitting.hold_points.current().select_related("confirmed_by", "created_by")
    ]
    heads = [_("Cycle"), _("Hold point"), _("Stands"), _("Who, when"), _("Note")]
    words = "" if rows else _("None is in the book.")
    return section(_("Hold points in their order"), heads, rows, words, numbers=[0], grow=[1, 4])


def run_sections(fitting: Fitting, system: UnitSystem) -> list[dict[str, Any]]:
    """Trial runs with the worst offset of each, and the last ones against the target."""
    runs, target = current_runs(fitting), target_of(fitting)
    heads = [_("Started"), _("Who"), _("Cycle"), _("Belt"), _("Minutes"), _("Worst offset"), _("Note")]
    wanted = format_quantity(target, QuantityKind.LENGTH_MM, system)
    words = (
        _("Wanted: at most %s off the centre line at every station.") % wanted if runs else _("None is in the book.")
    )
    rows = [run_row(run, target, system) for run in runs]
    found = [section(_("Trial runs"), heads, rows, words, numbers=[2, 4], grow=[5, 6])]
    if runs:
        lines = [
            [marked(each.verdict, VERDICT_WORDS[each.verdict]), commissioning_words(each.why, system)]
            for each in acceptance_of(fitting, runs).lines
        ]
        found.append(section(_("Against the target"), [_("Stands"), _("What was asked")], lines, level=3))
    return found


def run_row(run: TrialRun, target_mm: float, system: UnitSystem) -> list[Any]:
    worst = max(offsets_of(run), key=lambda each: abs(each.offset_mm), default=None)
    told: Any = "–"
    if worst is not None:
        words = _("%(offset)s at %(place)s") % {
            "offset": offset_words(worst.offset_mm, system),
            "place": format_quantity(worst.chainage_m, QuantityKind.DISTANCE_M, system),
        }
        told = marked("sound" if abs(worst.offset_mm) <= target_mm else "act", words)
    seen = [
        _("something touches the structure") if run.touches_structure else "",
        _("unusual noise") if run.is_noisy else "",
        run.get_frame_position_display(),
        " ".join(time_words(run)),
        run.note,
    ]
    return [
        moment(run.started_at),
        str(run.created_by),
        str(run.cycle),
        _("loaded") if run.is_loaded else _("empty"),
        figure(run.minutes),
        told,
        "; ".join(each for each in seen if each),
    ]


# --- The time since ---------------------------------------------------------------------------------------------------
def offset_sections(row: Installation, system: UnitSystem, drawings: Drawings) -> list[dict[str, Any]]:
    """Where the belt lay before, at acceptance and since: a sentence, the charts, each station."""
    occasions = occasions_of(BeltOffset.objects.current().of_installation(row), row)
    if not occasions:
        return [section(_("Belt offset before and since"), [], [], _("No belt offset was measured yet."))]
    charts = offset_charts(occasions, permitted_on(row.conveyor), system)
    html = render_to_string("installs/_offset_charts.html", {"charts": charts})
    summary = [
        [each["label"], each["day"], each["n"], each["mean"], each["largest"]]
        for each in summary_lines(occasions, system)
    ]
    heads = [_("When"), _("Day"), _("Readings"), _("Mean off centre"), _("Largest")]
    stations = [
        [
            format_quantity(line["at"], QuantityKind.DISTANCE_M, system),  # type: ignore[arg-type]
            str(line["load"]),
            *(words for _label, words in line["cells"]),  # type: ignore[attr-defined]
        ]
        for line in station_table(occasions, system)
    ]
    return [
        section(
            _("Belt offset before and since"),
            heads,
            summary,
            change_words(change_of(occasions), system),
            numbers=[2, 3, 4],
            grow=[0],
            drawings=drawings.add(print_drawings(html, OFFSET_STYLE), "offsets"),
            captions=[each.title for each in charts],
            width=74,
        ),
        section(
            _("Station by station"),
            [_("Station"), _("Belt"), *map(occasion_words, occasions)],
            stations,
            level=3,
            numbers=[0],
            grow=list(range(2, 2 + len(occasions))),
        ),
    ]


def life_sections(row: Installation) -> list[dict[str, Any]]:
    """Part changes and spells out of service."""
    parts = [
        [
            moment(each.changed_at),
            each.get_part_display(),
            each.get_side_display() if each.side else _("both sides"),
            each.get_why_display(),
            str(each.created_by or "–"),
            each.note,
        ]
        for each in row.part_changes.current().select_related("created_by").order_by("changed_at")
    ]
    spells = [
        [moment(each.begins_at), moment(each.ends_at) if each.ends_at else _("not back yet"), each.reason]
        for each in row.out_of_service.order_by("begins_at")
    ]
    heads = [_("When"), _("Part"), _("Side"), _("Why"), _("Who"), _("Note")]
    found = [section(_("Parts changed"), heads, parts, "" if parts else _("None is in the book."), grow=[5])]
    if spells:
        found.append(section(_("Out of service"), [_("Since"), _("Back"), _("Reason")], spells, grow=[2]))
    return found


def upper_sections(request: Any, row: Installation, drawings: Drawings) -> list[dict[str, Any]]:
    """What apps above tell, with the charts that they hand over as SVG."""
    found = []
    for number, each in enumerate(panels_for("dossier", request, row), start=1):
        svgs = each.pop("svgs", ())
        found.append({**each, "drawings": drawings.add(svgs, f"panel-{number}")})
    return found


def photos_of(fitting: Fitting, drawings: Drawings) -> list[dict[str, str]]:
    """Photos of survey, hold points and trial runs, with what each shows."""
    told: list[tuple[Any, str]] = []
    if fitting.survey is not None:
        told += [(each, _("Survey, %s") % moment(fitting.survey.surveyed_at)) for each in fitting.survey.photos.all()]
    for point in HoldPoint.objects.current().filter(fitting=fitting, photo__isnull=False).select_related("photo"):
        told.append((point.photo, f"{capfirst(point.get_point_display())}, {moment(point.confirmed_at)}"))
    for run in current_runs(fitting):
        told += [(each, _("Trial run, %s") % moment(run.started_at)) for each in run.photos.all()]
    found = []
    for photo, caption in told:
        name = f"photo-{photo.pk}.{photo.file.name.rsplit('.', 1)[-1]}"
        with photo.file.open("rb") as file:
            drawings.images[name] = file.read()
        found.append({"name": name, "caption": caption})
    return found


def place_section(request: Any, row: Installation, system: UnitSystem, drawings: Drawings) -> dict[str, Any]:
    """The strip of the belt with every device and zone on it, and the place in words."""
    strip = strip_of(request, row.conveyor)
    html = render_to_string("plant/_strip_drawing.html", {"drawing": strip.drawing, "label": strip.label})
    metres = format_quantity(row.chainage_m, QuantityKind.DISTANCE_M, system)
    zones = " ".join(
        _("It steers from %(low)s to %(high)s.")
        % {
            "low": format_quantity(each.low_m, QuantityKind.DISTANCE_M, system),
            "high": format_quantity(each.high_m, QuantityKind.DISTANCE_M, system),
        }
        for each in zones_of(row)
    )
    legend = _("Shaded: stretches that devices steer. Ticks: incidents of twelve months. Squares: drift switches.")
    seen = ngettext("%s incident in twelve months.", "%s incidents in twelve months.", strip.n_incidents)
    pairs = [
        [_("Conveyor"), f"{row.conveyor.tag} {row.conveyor.name}"],
        [_("Place"), f"{row.get_strand_display()}, {metres}"],
        [_("Access"), row.access or _("not stated")],
        [_("Serial number"), row.device.serial or _("not stated")],
        [_("Label"), row.device.label_code],
    ]
    words = f"{zones} {seen % strip.n_incidents} {legend}"
    names = drawings.add(print_drawings(html, STRIP_STYLE), "strip")
    return section(_("The place"), [], pairs, words, drawings=names, width=100)


def dossier_pdf(request: Any, row: Installation, *, paper: str) -> bytes:
    """All that is known of one installation, for the binder; apps above add sections at place "dossier"."""
    system = UnitSystem(request.user.unit_system)
    fitting = Fitting.objects.with_place().select_related("sheet").filter(installation=row).first()
    drawings = Drawings()
    sections = [place_section(request, row, system, drawings)]
    photos: list[dict[str, str]] = []
    if fitting is None:
        sections.append(section(_("As built"), [], [], _("No record of its fitting is in the book.")))
    else:
        sections += [
            people_section(fitting),
            *fit_up_sections(fitting, system, drawings),
            torque_section(fitting, system),
            isolation_section(fitting, system),
            point_section(fitting),
            *run_sections(fitting, system),
        ]
        photos = photos_of(fitting, drawings)
    sections += offset_sections(row, system, drawings)
    sections += life_sections(row)
    sections += upper_sections(request, row, drawings)
    events = [
        [moment(each.at), each.what, each.detail]
        for each in timeline_told(happenings_of(row), panels_for("timeline", request, row))
    ]
    sections.append(section(_("Timeline"), [_("When"), _("What"), _("Detail")], events, grow=[2]))
    sections.append(spec_section(row, system))
    until = _(", removed %s") % moment(row.removed_at) if row.removed_at else ""
    data = {
        "title": _("%(tag)s device %(number)s") % {"tag": row.conveyor.tag, "number": row.device.number},
        "lede": _("%(model)s on the %(strand)s at %(place)s, in service since %(since)s%(until)s.")
        % {
            "model": row.device.device_model,
            "strand": row.get_strand_display(),
            "place": format_quantity(row.chainage_m, QuantityKind.DISTANCE_M, system),
            "since": moment(row.installed_at),
            "until": until,
        },
        "foot": _("Installation dossier %(title)s, %(plant)s, printed %(when)s")
        % {
            "title": f"{row.conveyor.tag} {row.device.number}",
            "plant": row.plant,
            "when": moment(timezone.now()),
        },
        "care": [
            _("This record tells what was done. It does not make the belt safe to touch or to start."),
            _(
                "Follow the site's lockout and permit procedure; mind stored energy, pinch points and lifting. Site "
                "procedures, local codes, the maker's instructions and licensed practice come first."
            ),
        ],
        "sections": sections,
        "photos": photos,
        "photos_title": _("Photos"),
    }
    return pdf("installs/dossier.typ", data, paper=paper, images=drawings.images)
