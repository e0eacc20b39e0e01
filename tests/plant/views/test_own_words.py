"""Words of the plant on the page of a file, their list, and forgetting one."""

from __future__ import annotations

import pytest

from plant.models import ImportBatch, Incident, Job, PlantWord
from tests.plant.views.test_imports import choices_of, do_all_jobs, files_of_the_test, upload  # noqa: F401

TEXT = "tag,when,severity,side\nA-1,2026-03-01 10:00,drift,links\nCrusher,2026-03-02 10:00,drift,mittig\n"


def field_of(page, label):
    form = page.context["form"]
    return next(name for name, word in form.word_fields.items() if word.written == label)


@pytest.fixture
def sent(client, pat, belt_a1):
    client.force_login(pat)
    return client.get(upload(client, TEXT).url)


def test_words_are_asked_once_and_the_file_is_written(client, sent):
    page = sent
    text = page.content.decode()
    assert "Side: 2 words are not understood" in text
    assert "Conveyor: 1 word is not understood" in text
    assert "2 of the 2 rows tried out look wrong" in text
    answers = {field_of(page, "links"): "drive", field_of(page, "mittig"): "-", field_of(page, "Crusher"): "A-1"}
    url = page.wsgi_request.path
    page = client.get(client.post(f"{url}choices/", {**choices_of(page), **answers, "act": "read"}).url)
    text = page.content.decode()
    assert "2 rows were understood" in text
    assert "not understood" not in text
    assert "as the plant says" in text
    client.post(f"{url}choices/", {**choices_of(page), "act": "write"})
    do_all_jobs()
    assert list(Incident.objects.order_by("happened_at").values_list("side", "conveyor__tag")) == [
        ("drive", "A-1"),
        ("", "A-1"),
    ]


def test_a_word_that_is_left_open_is_kept_with_no_meaning(client, sent):
    page = sent
    client.post(f"{page.wsgi_request.path}choices/", {**choices_of(page), "act": "read"})
    assert PlantWord.objects.count() == 0


def test_a_meaning_that_is_not_offered_is_refused(client, sent):
    page = sent
    wrong = {field_of(page, "links"): "left"}
    answer = client.post(f"{page.wsgi_request.path}choices/", {**choices_of(page), **wrong})
    assert answer.status_code == 422
    assert PlantWord.objects.count() == 0


def test_a_file_like_an_earlier_one_says_so_and_can_be_read_by_itself(client, pat, belt_a1):
    client.force_login(pat)
    text = "tag,when,severity\nA-1,03/04/2026 10:00,drift\n"
    page = client.get(upload(client, text).url)
    client.post(f"{page.wsgi_request.path}choices/", {**choices_of(page), "date_order": "mdy", "act": "write"})
    do_all_jobs()
    page = client.get(upload(client, text.replace("03/04", "03/05"), name="next.csv").url)
    words = " ".join(page.content.decode().split())
    assert "The columns are those of a file that was written before" in words
    assert "2026-03-05 10:00" in words
    client.post(f"{page.wsgi_request.path}choices/", {**choices_of(page), "act": "anew"})
    page = client.get(page.wsgi_request.path)
    assert "The columns are those of a file" not in page.content.decode()
    assert [each.option for each in page.context["found"].questions] == ["date_order"]


def test_the_list_says_what_each_stands_for_and_forgets(client, sent, pat):
    page = sent
    answers = {field_of(page, "links"): "drive", field_of(page, "mittig"): "-", field_of(page, "Crusher"): "A-1"}
    client.post(f"{page.wsgi_request.path}choices/", {**choices_of(page), **answers, "act": "read"})
    text = client.get("/imports/words/").content.decode()
    for words in ("links", "drive side", "nothing: the cell is left empty", "Crusher", "A-1", "pat"):
        assert words in text
    lines = client.get("/imports/words/?format=csv").getvalue().decode("utf-8-sig").splitlines()
    assert len(lines) == 4
    assert all("forget" not in line for line in lines)
    word = PlantWord.objects.get(written="links")
    assert "Forget what “links” stands for?" in client.get(f"/imports/words/{word.pk}/forget/").content.decode()
    assert PlantWord.objects.filter(pk=word.pk).exists()
    answer = client.post(f"/imports/words/{word.pk}/forget/", follow=True)
    assert "is forgotten" in answer.content.decode()
    assert not PlantWord.objects.filter(pk=word.pk).exists()


def test_names_of_columns_that_somebody_chose_stand_there_too(client, pat, belt_a1):
    client.force_login(pat)
    page = client.get(upload(client, "Band,when,Grad\nA-1,2026-03-01 10:00,drift\n").url)
    chosen = {**choices_of(page), "col_conveyor": "Band", "col_severity": "Grad"}
    client.post(f"{page.wsgi_request.path}choices/", {**chosen, "act": "read"})
    page = client.get(page.wsgi_request.path)
    client.post(f"{page.wsgi_request.path}choices/", {**choices_of(page), "act": "write"})
    text = client.get("/imports/words/").content.decode()
    assert "name of a column, Incidents" in text
    assert "Band" in text
    assert "Grad" in text


def test_words_of_refused_rows_are_said_on_the_page_of_what_came_of_the_file(client, sent):
    url = sent.wsgi_request.path
    client.post(f"{url}choices/", {**choices_of(sent), "act": "write"})
    do_all_jobs()
    page = client.get(url)
    text = page.content.decode()
    assert "Side: 2 words are not understood" in text
    form = page.context["word_form"]
    names = {word.written: name for name, word in form.word_fields.items()}
    client.post(f"{url}rows/", {"act": "words"})
    assert Job.objects.filter(kind="import-again").count() == 0, "nothing was said"
    answers = {names["links"]: "drive", names["mittig"]: "-", names["Crusher"]: "A-1"}
    client.post(f"{url}rows/", {"act": "words", **answers})
    do_all_jobs()
    assert "All rows are in the book." in client.get(url).content.decode()
    assert Incident.objects.count() == 2


def test_all_rows_are_left_out_and_taken_up_again(client, sent):
    url = sent.wsgi_request.path
    client.post(f"{url}choices/", {**choices_of(sent), "act": "write"})
    do_all_jobs()
    text = client.post(f"{url}rows/", {"act": "drop"}, follow=True).content.decode()
    assert "2 rows are left out." in text
    assert "2 rows were left out on purpose; nothing of the file is in the book." in " ".join(text.split())
    text = client.post(f"{url}rows/", {"act": "take-up"}, follow=True).content.decode()
    assert "2 refused rows wait for correction" in text
    row = ImportBatch.objects.get().rejected_rows.first()
    client.post(f"{url}rows/{row.pk}/", {"act": "drop"})
    assert "Take it up again" in client.get(url).content.decode()
    client.post(f"{url}rows/{row.pk}/", {"act": "take-up"})
    row.refresh_from_db()
    assert row.state == "open"


def test_a_file_is_read_anew_whatever_stands_in_the_boxes(client, sent):
    url = sent.wsgi_request.path
    ImportBatch.objects.update(options={"decimal": "comma"})
    answer = client.post(f"{url}choices/", {**choices_of(sent), "time_zone": "Nowhere", "act": "anew"})
    assert answer.status_code == 302
    assert "decimal" not in ImportBatch.objects.get().options


@pytest.mark.parametrize("given", ["damage", "contact\x00", "x" * 10_000, "<b>", "S-12"])
def test_words_that_lie_are_kept_nowhere(client, sent, given):
    url = sent.wsgi_request.path
    lies = {field_of(sent, "links"): given, "word_side_000000000000": "drive", "word_note_": "drive", "act": "write"}
    answer = client.post(f"{url}choices/", {**choices_of(sent), **lies})
    assert answer.status_code == 422
    assert not PlantWord.objects.exists()
    assert not Job.objects.exists()
    assert given == "S-12" or f">{given}<" not in answer.content.decode()


def test_a_file_is_taken_back_once_for_a_reason_that_is_shown_as_it_was_typed(client, sent):
    url = sent.wsgi_request.path
    answers = {field_of(sent, "links"): "drive", field_of(sent, "mittig"): "-", field_of(sent, "Crusher"): "A-1"}
    client.post(f"{url}choices/", {**choices_of(sent), **answers, "act": "write"})
    do_all_jobs()
    for bad in ("", " ", "x" * 201, "x\x00"):
        assert client.post(f"{url}take-back/", {"reason": bad}).status_code == 422
    for _twice in range(2):
        assert client.post(f"{url}take-back/", {"reason": "<script>a</script>"}).status_code == 302
    do_all_jobs()
    client.post(f"{url}take-back/", {"reason": "later"})
    client.post(f"{url}start/")
    do_all_jobs()
    batch = ImportBatch.objects.get()
    assert (batch.state, batch.n_taken_back, batch.taken_back_because) == ("taken_back", 2, "<script>a</script>")
    assert Incident.objects.current().count() == 0
    text = client.get(url).content.decode()
    assert "&lt;script&gt;a" in text
    assert "<script>a" not in text
