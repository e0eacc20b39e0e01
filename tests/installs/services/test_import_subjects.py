"""Device models, devices and installations through the import desk."""

from __future__ import annotations

import io

import pytest
from django.core.management import CommandError, call_command

from installs.models import Device, DeviceModel, Fastener, Installation
from plant.errors import Refused
from plant.models import ImportBatch, Incident
from plant.services import imports, jobs
from tests import make

MODELS = (
    "name,strand,frame,belt width from [in],belt width to [in],sensor new,sensor limit,fasteners\n"
    "T-9,return,pivot,24,48,76,68,clamp: 4 x M12 8.8 @ 55 lbf·ft; pivot: 1 x M16 @ 130 N·m ± 15 %\n"
)
PLACES = (
    "device,model,serial,belt,strand,chainage,installed,removed,reason\n"
    "7,T-1,40112,a1,return,100,2025-01-05 08:00,2025-06-01 08:00,moved\n"
    "7,T-1,40112,a1,return,60,2025-06-01 09:00,,\n"
    "8,T-1,,,,,,,\n"
)


@pytest.fixture(autouse=True)
def files_of_the_test(tmp_path, settings):
    settings.MEDIA_ROOT = tmp_path


def run(plant, by, subject, text):
    data = text.encode()
    batch = imports.take_in_file(
        plant=plant, by=by, subject=subject, file=io.BytesIO(data), file_name="rows.csv", size=len(data)
    )
    jobs.do_job(imports.start_import(batch=batch, by=by).pk)
    batch.refresh_from_db()
    return batch


def counts(batch):
    return batch.n_written, batch.n_changed, batch.n_unchanged, batch.n_refused


def reasons(batch):
    return " ".join(each["reason"] for row in batch.rejected_rows.all() for each in row.problems)


def test_a_model_comes_with_its_fasteners_once(alder, erin):
    assert counts(run(alder, erin, "device_models", MODELS)) == (1, 0, 0, 0)
    model = DeviceModel.objects.get()
    assert (model.belt_width_least_mm, model.belt_width_most_mm) == pytest.approx((609.6, 1219.2))
    clamp, pivot = Fastener.objects.order_by("place")
    assert (clamp.place, clamp.count, clamp.size) == ("clamp", 4, "M12 8.8")
    assert clamp.torque_nm == pytest.approx(74.57, abs=0.005)  # 55 x 1.355818 N·m (NIST SP 811)
    assert (pivot.torque_nm, pivot.tolerance_pct) == (130.0, 15.0)
    assert counts(run(alder, erin, "device_models", MODELS)) == (0, 0, 1, 0)


def test_changed_figures_of_a_model_change_it(alder, erin):
    run(alder, erin, "device_models", MODELS)
    changed = MODELS.replace(",68,", ",67,").replace("@ 130", "@ 140")
    assert counts(run(alder, erin, "device_models", changed)) == (0, 1, 0, 0)
    assert DeviceModel.objects.get().sensor_limit_mm == 67.0
    assert Fastener.objects.get(place="pivot").torque_nm == 140.0


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        (",76,68,", ",68,76,", "limit must be below"),
        ("clamp: 4 x M12 8.8 @ 55 lbf·ft", "four bolts", "no place before a colon"),
        ("@ 130 N·m", "@ 130 kg", "were not understood"),
        (",24,48,", ",48,24,", "narrow one first"),
    ],
)
def test_figures_that_do_not_go_together_are_refused_whole(alder, erin, old, new, words):
    batch = run(alder, erin, "device_models", MODELS.replace(old, new))
    assert counts(batch) == (0, 0, 0, 1)
    assert words in reasons(batch)
    assert DeviceModel.objects.count() == 0
    assert Fastener.objects.count() == 0


def test_devices_and_where_they_stood_come_once(alder, pat, belt_a1):
    make.device_model(alder, "T-1")
    assert counts(run(alder, pat, "installations", PLACES)) == (3, 0, 0, 0)
    assert Device.objects.count() == 2
    assert list(Installation.objects.order_by("installed_at").values_list("chainage_m", "removal_reason")) == [
        (100.0, "moved"),
        (60.0, ""),
    ]
    assert counts(run(alder, pat, "installations", PLACES)) == (0, 0, 3, 0)


def test_a_later_export_tells_of_a_removal(alder, pat, belt_a1):
    make.device_model(alder, "T-1")
    run(alder, pat, "installations", PLACES)
    later = PLACES.replace("2025-06-01 09:00,,", "2025-06-01 09:00,2025-09-01 09:00,seized")
    assert counts(run(alder, pat, "installations", later)) == (0, 1, 2, 0)
    assert Installation.objects.get(chainage_m=60).removal_reason == "seized"
    assert counts(run(alder, pat, "installations", later)) == (0, 0, 3, 0)


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("8,T-1", "8,T1", "The nearest is T-1"),
        ("8,T-1", "8,", "its model is empty"),
        ("8,T-1,,,,,,,", "8,T-1,,,,40,,,", "not on which belt"),
        ("8,T-1,,,,,,,", "8,T-1,,A-1,return,400,2025-01-01,,", "is not on A-1"),
        ("8,T-1,,,,,,,", "8,T-1,,A-1,return,60,2025-07-01,,", "holds device 7"),
        ("8,T-1,,,,,,,", "8,T-1,,A-1,return,40,,,", "since when"),
        ("8,T-1,,,,,,,", "8,T-1,,A-1,return,-40,2025-07-01,,", "is negative"),
        ("8,T-1,,,,,,,", "8,T-1,,A-1,return,40,2097-07-01,,", "in the future"),
    ],
)
def test_a_refused_place_leaves_no_device_behind(alder, pat, belt_a1, old, new, words):
    make.device_model(alder, "T-1")
    batch = run(alder, pat, "installations", PLACES.replace(old, new))
    assert counts(batch) == (2, 0, 0, 1)
    assert words in reasons(batch)
    assert Device.objects.count() == 1


# --- the shell --------------------------------------------------------------------------------------------------------
def take_in(*args, **more):
    out, err = io.StringIO(), io.StringIO()
    call_command("take_in", *args, stdout=out, stderr=err, **more)
    return out.getvalue(), err.getvalue()


def test_the_shell_takes_a_file_in_and_names_refused_lines(alder, pat, belt_a1, tmp_path):
    path, refused = tmp_path / "log.csv", tmp_path / "refused.csv"
    path.write_text("tag,when\nA-1,03/04/2026 10:00\nA-l,05/04/2026 11:00\n", encoding="utf-8")
    given = ["incidents", path, "--plant", "Alder Pit", "--by", "pat"]
    with pytest.raises(CommandError, match="Choose the order"):
        take_in(*given)
    assert ImportBatch.objects.count() == 0
    out, _err = take_in(*given, "--set", "date_order=dmy", "--dry")
    assert "of the first 2 rows 1 would be refused" in out
    assert (Incident.objects.count(), ImportBatch.objects.count()) == (0, 0)
    out, err = take_in(*given, "--set", "date_order=dmy", "--refused", refused)
    assert '"n_written": 1' in out
    assert "line 3: There is no conveyor “A-l”" in err
    assert "A-l" in refused.read_text(encoding="utf-8")
    with pytest.raises(CommandError, match="1 wrong"):
        take_in(*given, "--set", "date_order=dmy", "--all-or-nothing")


def test_the_shell_obeys_rights_and_names_what_it_does_not_know(alder, pat, tess, tmp_path):
    path = tmp_path / "models.csv"
    path.write_text(MODELS, encoding="utf-8")
    for args, words in [
        (["--plant", "Elsewhere", "--by", "pat"], "no plant “Elsewhere”"),
        (["--plant", "Alder Pit", "--by", "nobody"], "Nobody signs in"),
        (["--plant", "Alder Pit", "--by", "tess"], "lacks plant.run_import"),
        (["--plant", "Alder Pit", "--by", "pat"], "lacks installs.add_devicemodel"),
    ]:
        with pytest.raises(CommandError, match=words):
            take_in("device_models", path, *args)
    with pytest.raises(CommandError, match="cannot be read"):
        take_in("incidents", tmp_path / "none.csv", "--plant", "Alder Pit", "--by", "pat")


def test_a_file_of_which_rows_are_in_the_book_is_kept(alder, pat, belt_a1):
    batch = run(alder, pat, "incidents", "tag,when\nA-1,2026-03-01\n")
    with pytest.raises(Refused, match="stays in the list as their source"):
        imports.forget_file(batch=batch)
