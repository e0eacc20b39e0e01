"""Pages of the import desk: who may, from upload to mended rows, and a file that is too large to be read."""

from __future__ import annotations

import re
import uuid

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse

from plant.models import ImportBatch, Incident, Job
from plant.services import jobs

TEXT = "tag,when,severity,note\nA-1,2026-03-01 10:00,drift,one\nA-l,2026-03-02 10:00,drift,two\nA-1,soon,drift,three\n"


@pytest.fixture(autouse=True)
def files_of_the_test(tmp_path, settings):
    settings.MEDIA_ROOT = tmp_path


def upload(client, text=TEXT, subject="incidents", name="log.csv", **more):
    data = text if isinstance(text, bytes) else text.encode()
    form = {"subject": subject, "file": SimpleUploadedFile(name, data), "client_key": uuid.uuid4(), **more}
    return client.post(reverse("import-create"), form)


def do_all_jobs():
    for job in Job.objects.unfinished():
        jobs.do_job(job.pk)


def choices_of(page):
    """What a browser would send back from the page of choices."""
    form = page.context["form"]
    return {field.name: field.value() for field in form if field.value() is not None}


@pytest.mark.parametrize("name", ["tess", "mona"])
def test_people_without_the_right_see_no_desk(client, request, name):
    client.force_login(request.getfixturevalue(name))
    assert client.get(reverse("import-list")).status_code == 403
    assert upload(client).status_code == 403
    assert ImportBatch.objects.count() == 0


def test_another_plant_s_files_are_not_found(client, pat, otto, belt_a1):
    client.force_login(pat)
    page = upload(client)
    do_all_jobs()
    client.force_login(otto)
    assert client.get(page.url).status_code == 404
    assert client.get(f"{page.url}refused.csv").status_code == 404
    assert client.post(f"{page.url}start/").status_code == 404


def test_from_upload_to_the_last_mended_row(client, pat, belt_a1):
    client.force_login(pat)
    page = client.get(upload(client).url)
    assert "2 of the 3 rows tried out look wrong" in page.content.decode()
    assert Incident.objects.count() == 0

    url = page.wsgi_request.path
    assert client.post(f"{url}choices/", {**choices_of(page), "act": "write"}).url == url
    page = client.get(url)
    assert page.templates[0].name == "plant/import_running.html"
    assert 'hx-trigger="every 2s"' in page.content.decode()
    assert "HX-Refresh" not in client.get(f"{url}progress/").headers

    do_all_jobs()
    assert client.get(f"{url}progress/").headers["HX-Refresh"] == "true"
    page = client.get(url)
    words = page.content.decode()
    assert "2 refused rows wait for correction" in words
    assert "Line 3" in words
    assert "The nearest tag is A-1" in words
    assert "The nearest tag" in client.get(f"{url}refused.csv").getvalue().decode()

    first, second = ImportBatch.objects.get().rejected_rows.all()
    cells = {f"row{first.pk}-cell{n}": text for n, text in enumerate(["A-1", "2026-03-02 10:00", "drift", "two"])}
    part = client.post(f"{url}rows/{first.pk}/", {**cells, "act": "retry"}, headers={"hx-request": "true"})
    assert "corrected and written" in part.content.decode()
    assert "1 refused row waits for correction" in part.content.decode()  # the counts go along
    part = client.post(f"{url}rows/{second.pk}/", {"act": "drop"}, headers={"hx-request": "true"})
    assert "left out on purpose" in part.content.decode()
    assert list(Incident.objects.order_by("happened_at").values_list("note", flat=True)) == ["one", "two"]
    words = " ".join(client.get(url).content.decode().split())
    assert "1 row was left out on purpose; all others are in the book." in words


def test_the_button_says_that_no_row_will_be_written(client, pat, belt_a1):
    client.force_login(pat)
    wrong = "tag,when,severity\nA-9,2026-11-02 06:40,drift\nA-8,2026-11-02 06:50,drift\n"
    words = client.get(upload(client, wrong).url).content.decode()
    assert "Keep 2 rows for correction" in words
    assert 'value="write">Write' not in "".join(words.split())


def test_button_preview_and_result_name_the_same_numbers(client, pat, belt_a1):
    client.force_login(pat)

    def button_of(page):
        words = page.content.decode().split('value="write">')[1].split("</button>")[0]
        return " ".join(words.split())

    def facts_of(page):
        words = re.sub("<[^>]+>", " ", page.content.decode().split('class="facts"')[1].split("</ul>")[0])
        return re.findall(r"(\d+)\s+(new|changed|already known)", words)

    page = client.get(upload(client).url)
    assert button_of(page) == "Write 1 new row and keep 2 rows for correction"
    assert "All rows or none: with 2 wrong rows, none" in " ".join(page.content.decode().split())

    good = TEXT.replace("A-l", "A-1").replace("soon", "2026-03-03 10:00")
    first = upload(client, good.rsplit("A-1", 1)[0])
    assert button_of(client.get(first.url)) == "Write 2 new rows"
    client.post(f"{first.url}choices/", {**choices_of(client.get(first.url)), "act": "write"})
    do_all_jobs()

    second = upload(client, good)
    preview = client.get(second.url)
    assert button_of(preview) == "Write 1 new row"
    assert facts_of(preview) == [("1", "new"), ("0", "changed"), ("2", "already known")]
    client.post(f"{second.url}choices/", {**choices_of(preview), "act": "write"})
    do_all_jobs()
    assert facts_of(client.get(second.url)) == facts_of(preview)
    assert button_of(client.get(upload(client, good, name="again.csv").url)) == "Import all the same: nothing is new"


def test_a_row_that_is_still_wrong_keeps_its_new_text_and_reason(client, pat, belt_a1):
    client.force_login(pat)
    url = upload(client).url
    client.post(f"{url}choices/", {**choices_of(client.get(url)), "act": "write"})
    do_all_jobs()
    row = ImportBatch.objects.get().rejected_rows.first()
    cells = {f"row{row.pk}-cell{n}": text for n, text in enumerate(["A-1", "2097-03-02 10:00", "drift", "two"])}
    part = client.post(f"{url}rows/{row.pk}/", {**cells, "act": "retry"}, headers={"hx-request": "true"})
    assert "in the future" in part.content.decode()
    assert "2097-03-02 10:00" in part.content.decode()


def test_a_cell_that_cannot_be_read_at_all_stays_in_its_box_with_the_reason(client, pat, belt_a1):
    """The row is shown anew where it stands; what was typed must not be gone with the old one."""
    client.force_login(pat)
    url = upload(client).url
    client.post(f"{url}choices/", {**choices_of(client.get(url)), "act": "write"})
    do_all_jobs()
    row = ImportBatch.objects.get().rejected_rows.first()
    typed = "x" * 10_001
    cells = {f"row{row.pk}-cell{n}": text for n, text in enumerate(["A-1", "2026-03-02 10:00", "drift", typed])}
    part = client.post(f"{url}rows/{row.pk}/", {**cells, "act": "retry"}, headers={"hx-request": "true"})
    assert typed in part.content.decode()
    assert "at most 10000 characters" in part.content.decode()
    assert Incident.objects.count() == 1


def test_what_reads_both_ways_is_asked_and_the_write_button_waits(client, pat, belt_a1):
    client.force_login(pat)
    url = upload(client, "tag,when\nA-1,03/04/2026 10:00\n").url
    page = client.get(url)
    assert "Choose the order" in page.content.decode()
    assert 'value="write"' not in page.content.decode()
    answer = client.post(f"{url}choices/", {**choices_of(page), "act": "write"})
    assert answer.status_code == 422
    assert Job.objects.count() == 0
    client.post(f"{url}choices/", {**choices_of(page), "date_order": "mdy", "act": "write"})
    do_all_jobs()
    assert Incident.objects.get().happened_at.month == 3


def test_columns_and_units_can_be_matched_by_hand(client, pat, belt_a1):
    client.force_login(pat)
    url = upload(client, "equipment,moment,spot,strand\nA-1,2026-03-01,100,return\n").url
    page = client.get(url)
    assert "No column was found for: when" in page.content.decode()
    chosen = {**choices_of(page), "col_happened_at": "moment", "col_chainage_m": "spot", "unit_chainage_m": "ft"}
    client.post(f"{url}choices/", {**chosen, "act": "read"})
    assert "30.5 m" in client.get(url).content.decode()


def test_a_wrong_separator_is_refused_and_the_right_one_kept(client, pat, belt_a1):
    client.force_login(pat)
    url = upload(client).url
    answer = client.post(f"{url}choices/", {**choices_of(client.get(url)), "delimiter": "|", "act": "read"})
    assert answer.status_code == 422
    assert "with comma it has 4. Choose comma." in answer.content.decode()
    assert "delimiter" not in ImportBatch.objects.get().options


@pytest.mark.parametrize(
    ("data", "words"),
    [(b"\x89PNG\r\n\x1a\n" + b"\x00" * 60, "a picture"), (b"", "empty"), (b"<html><body>", "web page")],
)
def test_what_is_no_table_is_answered_at_the_field(client, pat, data, words):
    client.force_login(pat)
    answer = upload(client, data)
    assert answer.status_code == 422
    assert words in answer.content.decode()
    assert ImportBatch.objects.count() == 0


def test_a_large_upload_is_refused_by_its_announced_size_before_it_is_read(client, pat, settings):
    client.force_login(pat)
    settings.LARGEST_IMPORT_MB = 50

    class Unread:
        def read(self, *args):
            raise AssertionError("the body was read")

        readline = read

    answer = client.generic(
        "POST",
        reverse("import-create"),
        b"",
        content_type="multipart/form-data; boundary=x",
        CONTENT_LENGTH=str(200 * 1024 * 1024),
        **{"wsgi.input": Unread()},
    )
    assert answer.status_code == 413
    assert "files up to 50 MB are taken" in answer.content.decode()


def test_a_forged_upload_is_refused_all_the_same(pat):
    client = Client(enforce_csrf_checks=True)
    client.force_login(pat)
    assert upload(client).status_code == 403
    assert ImportBatch.objects.count() == 0


def test_a_refused_whole_offers_its_good_rows(client, pat, belt_a1):
    client.force_login(pat)
    url = upload(client).url
    client.post(f"{url}choices/", {**choices_of(client.get(url)), "act": "write", "all_or_nothing": "on"})
    do_all_jobs()
    assert "Nothing was written: 2 rows are wrong" in client.get(url).content.decode()
    client.post(f"{url}start/")
    do_all_jobs()
    assert Incident.objects.count() == 1


def test_a_file_is_taken_back_before_it_is_written(client, pat, belt_a1):
    client.force_login(pat)
    url = upload(client).url
    assert client.post(f"{url}forget/").url == reverse("import-list")
    assert ImportBatch.objects.count() == 0


def test_importing_is_no_way_round_the_right_to_add_models(client, pat, erin):
    """A planner may import, but device models are the engineer's."""
    client.force_login(pat)
    assert upload(client, "name\nT-1\n", subject="device_models").status_code == 422
    client.force_login(erin)
    url = upload(client, "name\nT-1\n", subject="device_models").url
    client.force_login(pat)
    assert client.get(url).status_code == 403


EQUAL = "tag,when,note\n" + "A-1,2026-03-01 10:00,twice\n" * 3


def test_equal_rows_are_said_before_and_after_and_become_events_at_a_press(client, pat, belt_a1):
    client.force_login(pat)
    url = upload(client, EQUAL).url
    page = client.get(url)
    words = page.content.decode()
    assert "Lines 3, 4 are equal to rows above them in every cell and are not counted again." in words
    assert "<b>2</b> equal rows, not counted again" in words
    assert choices_of(page)["equal"] == "one"
    client.post(f"{url}choices/", {**choices_of(page), "act": "write"})
    do_all_jobs()
    words = client.get(url).content.decode()
    assert "All rows are in the book." in words
    assert "Equal to another row: 2 rows" in words
    assert "when: 2026-03-01 10:00" in words
    row = ImportBatch.objects.get().rejected_rows.first()
    part = client.post(f"{url}rows/{row.pk}/", {"act": "own"}, headers={"hx-request": "true"}).content.decode()
    assert "written as an event of its own" in part
    assert "<b>1</b> equal row, not counted again" in part
    assert Incident.objects.count() == 2
    client.post(f"{url}rows/{ImportBatch.objects.get().rejected_rows.last().pk}/", {"act": "own"})
    assert Incident.objects.count() == 3
    words = client.get(url).content.decode()
    assert "Equal to another row: 2 rows" in words  # they stay visible, and none was refused
    assert "Write it as an event of its own" not in words
    assert "Refused:" not in words


def test_equal_rows_may_be_chosen_to_be_an_event_each(client, pat, belt_a1):
    client.force_login(pat)
    url = upload(client, EQUAL).url
    client.post(f"{url}choices/", {**choices_of(client.get(url)), "equal": "each", "act": "write"})
    do_all_jobs()
    assert Incident.objects.count() == 3
    url = upload(client, "tag,date,reading\nA-1,2026-03-01,1000\n", subject="meter_readings").url
    assert "equal" not in choices_of(client.get(url))


def test_rows_that_would_be_refused_far_down_are_named_before_anything_is_written(client, pat, belt_a1):
    client.force_login(pat)
    good = "".join(f"A-1,2026-03-01 {n:02}:00,row {n}\n" for n in range(24))
    words = client.get(upload(client, f"tag,when,note\n{good}A-1,2097-03-01 10:00,ahead\n").url).content.decode()
    assert "1 of the 25 rows tried out looks wrong" in words
    assert re.search(r"<b>Line 26:</b>\s", words)
    assert re.search(r"<b>Line 26:</b>\s+When:\s+1 Mar 2097, 10:00 is in the future", words)


def test_stop_and_go_on(client, pat, belt_a1):
    client.force_login(pat)
    url = upload(client).url
    client.post(f"{url}choices/", {**choices_of(client.get(url)), "act": "write"})
    client.post(f"{url}stop/")
    assert "it can go on where it stopped" in client.get(url).content.decode()
    client.post(f"{url}start/")
    do_all_jobs()
    assert Incident.objects.count() == 1


def test_an_empty_file_of_a_subject_can_be_filled_and_sent(client, pat, belt_a1):
    client.force_login(pat)
    blank = client.get(reverse("import-blank", args=["incidents"])).content
    page = client.get(upload(client, blank).url)
    assert "none looks wrong" in page.content.decode() or "1 row was understood" in page.content.decode()


def test_the_list_needs_the_same_queries_for_any_number_of_files(client, pat, belt_a1, django_assert_max_num_queries):
    client.force_login(pat)
    for _n in range(12):
        upload(client)
    with django_assert_max_num_queries(14):
        page = client.get(reverse("import-list"))
    assert page.content.decode().count("log.csv") == 12


def test_whether_known_rows_are_corrected_is_asked_where_it_can_be_and_refuse_is_chosen(client, pat, belt_a1):
    client.force_login(pat)
    url = upload(client, "tag,when,severity\nA-1,2026-03-01,drift\n").url
    client.post(f"{url}choices/", {**choices_of(client.get(url)), "act": "write"})
    do_all_jobs()
    url = upload(client, "tag,when,severity\nA-1,2026-03-01,damage\n").url
    page = client.get(url)
    assert choices_of(page)["known"] == "refuse"
    client.post(f"{url}choices/", {**choices_of(page), "known": "correct", "act": "write"})
    do_all_jobs()
    assert Incident.objects.current().get().severity == "damage"
    url = upload(client, "tag,from,to\nA-1,2026-03-01,2026-03-02\n", subject="running_hours").url
    assert "known" not in choices_of(client.get(url))


def test_a_row_that_may_be_the_same_event_is_asked_about_on_its_page(client, pat, belt_a1):
    client.force_login(pat)
    head, row = "tag,when,strand,{}\n", "A-1,2026-03-01 07:15,return,20\n"
    first = upload(client, head.format("where it was") + row)
    client.post(f"{first.url}choices/", {**choices_of(client.get(first.url)), "act": "write"})
    do_all_jobs()
    known = Incident.objects.get()
    second = upload(client, head.format("chainage [m]") + row, name="again.csv")
    preview = client.get(second.url)
    assert f'href="{known.get_absolute_url()}"' in preview.content.decode()
    client.post(f"{second.url}choices/", {**choices_of(preview), "act": "write"})
    do_all_jobs()
    page = client.get(second.url).content.decode()
    assert "It is another event" in page
    assert f'href="{known.get_absolute_url()}"' in page
    kept = ImportBatch.objects.latest("pk").rejected_rows.get()
    cells = {f"row{kept.pk}-cell{n}": text for n, text in enumerate(["A-1", "2026-03-01 07:15", "return", "20"])}
    sent = {**cells, f"row{kept.pk}-keep_doubtful": "on", "act": "retry"}
    part = client.post(f"{second.url}rows/{kept.pk}/", sent, headers={"hx-request": "true"})
    assert "corrected and written" in part.content.decode()
    assert Incident.objects.count() == 2


def test_rows_that_ask_the_same_are_told_once(client, pat, belt_a1):
    client.force_login(pat)
    rows = "".join(f"A-1,2026-03-{day:02} 10:00,bang,{day}\n" for day in range(1, 13))
    page = client.get(upload(client, f"tag,when,severity,note\n{rows}A-1,soon,bang,ahead\n").url)
    assert [(each.label, len(each.lines)) for each in page.context["preview"].reasons()] == [
        ("severity", 13),
        ("when", 1),
    ]
    words = page.content.decode()
    assert "13 rows, lines 2, 3, 4, 5, 6, 7, 8, 9 and 5 more:" in words
    assert words.count("“bang” is not a known severity") == 1


def test_what_nobody_chose_is_told_anew_when_other_columns_are_chosen(client, pat, belt_a1):
    """The mark of decimals is told from the columns of numbers: none was known on the first look."""
    client.force_login(pat)
    text = "Band;when;strand;Lage [m]\nA-1;2026-03-01 10:00;return;80,5\n"
    page = client.get(upload(client, text).url)
    assert page.context["found"].reading.decimal == "point"
    url = page.wsgi_request.path
    chosen = {**choices_of(page), "col_conveyor": "Band", "col_chainage_m": "Lage [m]", "act": "read"}
    client.post(f"{url}choices/", chosen)
    page = client.get(url)
    assert page.context["found"].reading.decimal == "comma"
    assert page.context["preview"].tally["written"] == 1
    # What a person chooses stays, though the cells tell otherwise.
    client.post(f"{url}choices/", {**choices_of(page), "decimal": "point", "act": "read"})
    page = client.get(url)
    client.post(f"{url}choices/", {**choices_of(page), "act": "read"})
    assert client.get(url).context["found"].reading.decimal == "point"


def test_another_sheet_tells_its_own_columns(client, pat, belt_a1):
    import io

    import openpyxl

    client.force_login(pat)
    book = openpyxl.Workbook()
    book.active.append(["tag", "when", "remarks"])
    book.active.append(["A-1", "2026-03-02 10:00", "x"])
    second = book.create_sheet("log")
    for row in (["Conveyor", "Date", "Severity"], ["A-1", "2026-03-01 10:00", "drift"]):
        second.append(row)
    buffer = io.BytesIO()
    book.save(buffer)
    page = client.get(upload(client, buffer.getvalue(), name="two.xlsx").url)
    assert page.context["found"].shape.sheet == "Sheet"
    url = page.wsgi_request.path
    client.post(f"{url}choices/", {**choices_of(page), "sheet": "log", "act": "read"})
    page = client.get(url)
    assert page.context["found"].is_ready
    assert {each.column.name for each in page.context["found"].matched()} == {"conveyor", "happened_at", "severity"}


def test_a_file_of_which_nothing_was_written_is_read_by_other_choices(client, pat, belt_a1):
    client.force_login(pat)
    rows = "A-1,2026-03-01 10:00,drift,80;5\nA-1,2026-03-02 10:00,drift,90;5\n"
    page = client.get(upload(client, f"tag,when,severity,chainage\n{rows}").url)
    url = page.wsgi_request.path
    client.post(f"{url}choices/", {**choices_of(page), "act": "write"})
    do_all_jobs()
    page = client.get(url)
    assert "Read the file by other choices" in page.content.decode()
    assert "Take this import back" not in page.content.decode()
    client.post(f"{url}open-again/")
    batch = ImportBatch.objects.get()
    assert (batch.state, batch.n_refused, batch.rejected_rows.count()) == (ImportBatch.State.UNDERSTOOD, 0, 0)
    client.post(f"{url}choices/", {**choices_of(client.get(url)), "col_chainage_m": "", "act": "write"})
    do_all_jobs()
    assert Incident.objects.count() == 2
    # What is in the book is taken back, not read anew.
    assert "Read the file by other choices" not in client.get(url).content.decode()
    assert "Take it back" in client.post(f"{url}open-again/", follow=True).content.decode()
    assert Incident.objects.count() == 2


def test_what_came_of_a_file_is_so_with_none_and_one(client, pat, belt_a1):
    """Not that all others are in the book where there are no others."""
    client.force_login(pat)
    page = client.get(upload(client, "tag,when,severity\nX-77,2026-03-01 10:00,drift\n").url)
    url = page.wsgi_request.path
    client.post(f"{url}choices/", {**choices_of(page), "act": "write"})
    do_all_jobs()
    words = " ".join(client.get(url).content.decode().split())
    assert "1 refused row waits for correction; nothing of the file is in the book." in words
    page = client.get(upload(client, "tag,when,severity\nA-1,2026-03-01 10:00,drift\n", name="one.csv").url)
    url = page.wsgi_request.path
    client.post(f"{url}choices/", {**choices_of(page), "act": "write"})
    do_all_jobs()
    assert "<b>1</b> row would be withdrawn" in " ".join(client.get(f"{url}take-back/").content.decode().split())
