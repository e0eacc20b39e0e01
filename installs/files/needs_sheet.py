"""Parts, tools and lifting aids of one job on paper, to tick off at the store."""

from __future__ import annotations

from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from installs.models import Fitting
from plant.calc.units import QuantityKind, UnitSystem, format_quantity
from plant.files.pdf import pdf


def needs_pdf(fitting: Fitting, *, system: UnitSystem, paper: str) -> bytes:
    """The list of a fitting with what is at hand and a box for each line; fasteners by the sheet that holds for it."""
    model = fitting.device_model
    not_stated = _("not stated")
    spec = [
        [
            each.place,
            str(each.count),
            each.thread or each.size or not_stated,
            each.strength_class or not_stated,
            format_quantity(each.torque_nm, QuantityKind.TORQUE_NM, system) if each.torque_nm else not_stated,
        ]
        for each in fitting.spec.fasteners
    ]
    place = format_quantity(fitting.chainage_m, QuantityKind.DISTANCE_M, system)
    window = fitting.outage_window
    mass = fitting.stated.get("mass_kg")
    data = {
        "title": _("Parts and tools: %(model)s at %(tag)s") % {"model": model, "tag": fitting.conveyor.tag},
        "lede": _("%(strand)s, %(place)s.") % {"strand": fitting.get_strand_display().capitalize(), "place": place},
        "foot": _("Parts and tools, printed %(when)s") % {"when": date_format(timezone.localtime(), "Y-m-d H:i")},
        "care": [
            _("Having everything at hand is no permission to begin."),
            _(
                "Follow the site's lockout and permit procedure; mind stored energy, pinch points and lifting. Site "
                "procedures, local codes, the maker's instructions and licensed practice come first."
            ),
        ],
        "facts": [
            [_("Device"), fitting.device.number if fitting.device else _("not chosen yet")],
            [_("Outage window"), str(window) if window else _("none planned")],
            [
                _("Mass to lift"),
                format_quantity(mass, QuantityKind.MASS_KG, system) if mass is not None else _("not stated"),
            ],
        ],
        "needs": {
            "title": _("To bring"),
            "heads": [_("What"), _("Name"), _("Needed"), _("At hand"), _("Note"), _("Packed")],
            "rows": [
                [each.get_kind_display(), each.name, str(each.needed), str(each.at_hand), each.note, ""]
                for each in fitting.needs.all()
            ],
            "words": _("The list of this job is empty: the model's sheet names no part or tool."),
        },
        "fasteners": {
            "title": _("Fasteners"),
            "heads": [_("Place"), _("How many"), _("Thread"), _("Class or grade"), _("Target torque")],
            "rows": spec,
            "words": _("The model's sheet names no fastener."),
        },
    }
    return pdf("installs/needs.typ", data, paper=paper)
