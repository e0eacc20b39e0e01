"""Pages of places: who may see them, the ranking as page and files, a device on trial."""

import csv
import datetime as dt
import io
import re
from urllib.parse import parse_qs, urlsplit

import pytest
from django.urls import reverse
from django.utils import timezone

from installs.models import CauseOverride, LoggedStation
from plant.models import Incident
from tests import make

pytestmark = pytest.mark.django_db


def days_ago(days):
    return timezone.now() - dt.timedelta(days=days)


@pytest.fixture
def belt(alder):
    """200 m, a device at 190 m that steers from 140 m, nine incidents about 80 m that no device reaches."""
    made = make.conveyor(alder, tag="A-1", speed_m_s=2.5)
    model = make.device_model(
        alder, "RP-2", belt_width_least_mm=900.0, belt_width_most_mm=1600.0, speed_most_m_s=4.5,
        clearance_below_mm=280.0, clearance_beside_mm=110.0,
    )  # fmt: skip
    make.installation(made, device=make.device(alder, "1", model), chainage_m=190.0)
    make.run_record(made, days_ago(360), days_ago(1), 3000.0)
    for n in range(9):
        make.incident(made, days_ago(10 + n), chainage_m=70.0 + 3 * n)
    return made


def get(client, person, address, **asked):
    client.force_login(person)
    return client.get(address, asked)


def page_of(belt):
    return reverse("placement-conveyor", args=[belt.pk])


@pytest.mark.parametrize(
    ("who", "status"), [("erin", 200), ("pat", 200), ("tess", 403), ("mona", 403), ("stranger", 403)]
)
def test_engineers_and_planners_see_the_ranking(client, request, belt, who, status):
    assert get(client, request.getfixturevalue(who), reverse("placement")).status_code == status


@pytest.mark.parametrize(("who", "status"), [("erin", 200), ("pat", 200), ("tess", 403), ("otto", 404)])
def test_a_belt_is_seen_by_people_of_its_plant_with_the_right(client, request, belt, who, status):
    assert get(client, request.getfixturevalue(who), page_of(belt)).status_code == status


def test_the_ranking_says_the_first_place_in_a_sentence(client, erin, belt):
    text = get(client, erin, reverse("placement")).text
    assert "A-1 first: 9 of the 9 incidents of this strand lie at" in text
    assert "3.0 (1.4 to 5.7)" in text
    assert "to be measured" in text
    # The figure opens the rows behind it.
    assert f"conveyor={belt.pk}&amp;strand=return&amp;low_m=" in text


def test_the_ranking_speaks_the_readers_units(client, erin, belt):
    erin.unit_system = "us"
    erin.save()
    text = get(client, erin, reverse("placement")).text
    assert "Chainage [ft]" in text
    assert " ft, where it would steer and no device reaches." in text


def test_the_ranking_as_a_file_has_one_figure_a_column(client, erin, belt):
    answer = get(client, erin, reverse("placement"), format="csv")
    (row,) = csv.DictReader(io.StringIO(b"".join(answer.streaming_content).decode()))
    assert (row["Rank"], row["Conveyor"], row["Strand"], row["Incidents"]) == ("1", "A-1", "return", "9")
    assert float(row["New in reach, per 1000 h (95 %)"]) == 3.0
    assert float(row["Rate low"]) == pytest.approx(1.3718, abs=1e-4)
    assert float(row["Rate high"]) == pytest.approx(5.6948, abs=1e-4)
    assert row["Fits"] == "to be measured"
    assert row["Why"].startswith("9 of the 9 incidents")
    book = get(client, erin, reverse("placement"), format="xlsx")
    assert book.content[:2] == b"PK"


def test_an_empty_book_says_what_is_missing(client, erin, belt_a1):
    text = get(client, erin, reverse("placement")).text
    assert "nowhere did two incidents or more of the last twelve months lie out of reach" in text


def test_the_page_of_a_belt_tries_its_best_place(client, erin, belt):
    answer = get(client, erin, page_of(belt))
    trial = answer.context["trial"]
    assert trial.judged.reach.n_new == 9
    assert trial.model.name == "RP-2"
    text = " ".join(answer.text.split())
    assert "device on trial, return" in text
    assert "Not measured: RP-2 needs 280 mm of clearance below. A survey measures it." in text
    assert "No drift switch and no logged station stands in the zone" in text
    assert "140 m to 190 m" not in text  # it is reached, so it is not among the stretches that no device reaches
    assert "0 m to 140 m: 9 incidents" in text


def test_another_place_changes_the_figures(client, erin, belt):
    make.drift_switch(belt, 60.0)
    asked = {"strand": "return", "chainage_m": "75 m", "clearance_below_mm": "430 mm", "clearance_beside_mm": "100"}
    answer = get(client, erin, page_of(belt), **asked)
    judged = answer.context["trial"].judged
    assert (judged.reach.n_in_zone, judged.reach.n_new) == (2, 2)
    text = answer.text
    assert "150 mm to spare: 430 mm of clearance below" in text
    assert "100 mm of clearance beside where RP-2 needs 110 mm: 10 mm short." in text
    assert "does not fit" in text
    assert "1 switch or logged station stands in the zone, at 60 m." in text


def test_a_zone_that_another_device_steers_is_named(client, erin, belt):
    text = get(client, erin, page_of(belt), strand="return", chainage_m="160 m").text
    assert "Overlap: 20 m of its zone are steered by device 1 already." in text


@pytest.mark.parametrize(
    ("asked", "said"),
    [
        ({"strand": "return", "chainage_m": "900 m"}, "A-1 is 200 m long: give a place on it."),
        ({"strand": "return", "chainage_m": "somewhere"}, "somewhere"),
        ({"strand": "both", "chainage_m": "80 m"}, "both"),
        ({"strand": "return", "chainage_m": ""}, "required"),
    ],
)
def test_a_place_that_is_not_understood_judges_nothing(client, erin, belt, asked, said):
    answer = get(client, erin, page_of(belt), **asked)
    assert answer.status_code == 422
    assert answer.context["trial"] is None
    assert said in answer.text
    assert "nothing is judged" in answer.text


def test_a_page_that_swaps_itself_gets_the_words_at_the_field(client, erin, belt):
    """The swap takes only answers that went well; with a refusal the old figures would stay beside the new place."""
    client.force_login(erin)
    answer = client.get(page_of(belt), {"strand": "return", "chainage_m": "900 m"}, headers={"HX-Request": "true"})
    assert answer.status_code == 200
    assert "A-1 is 200 m long: give a place on it." in answer.text
    assert "nothing is judged" in answer.text


def test_the_page_leads_with_the_sites_procedure(client, erin, belt):
    text = get(client, erin, page_of(belt)).text
    assert text.index("Lock out and get your permit") < text.index("Plan a survey here")


def test_steps_move_the_trial_without_a_script(client, erin, belt):
    asked = {"strand": "return", "chainage_m": "198 m", "clearance_below_mm": "16 1/2 in", "device_model": ""}
    page = get(client, erin, page_of(belt), **asked).text
    assert re.findall(r'<button name="step"\s+value="(-?5)"', page) == ["-5", "5"]
    for step, place in (("-5", "193 m"), ("5", "200 m")):
        answer = get(client, erin, page_of(belt), **asked, step=step)
        assert answer.status_code == 302
        told = parse_qs(urlsplit(answer.url).query, keep_blank_values=True)
        assert told == {name: [text] for name, text in {**asked, "chainage_m": place}.items()}
        assert urlsplit(answer.url).fragment == "trial"


def test_a_step_from_a_place_that_is_not_understood_stays_there_and_says_so(client, erin, belt):
    answer = get(client, erin, page_of(belt), strand="return", chainage_m="900 m", step="5")
    assert answer.status_code == 302
    assert "A-1 is 200 m long: give a place on it." in client.get(answer.url).text
    assert get(client, erin, page_of(belt), strand="return", chainage_m="80 m", step="rubbish").status_code == 302


def test_an_answer_swaps_what_was_made_of_the_boxes_and_never_the_boxes(client, erin, belt):
    """What is typed while an answer is on its way would be lost with them."""
    page = get(client, erin, page_of(belt), strand="return", chainage_m="75 m").text
    form = re.search(r'<form[^>]*?\bid="trial-form".*?</form>', page, re.DOTALL)[0]
    swapped = re.search(r'hx-target="#([\w-]+)"\s+hx-select="#([\w-]+)"', form).groups()
    assert swapped == ("trial-verdict", "trial-verdict")
    for name in ("trial-verdict", "trial-strip"):
        inside = page[page.index(f'id="{name}"') :]
        assert page.count(f'id="{name}"') == 1
        assert name == "trial-strip" or "<form" not in inside[: inside.index('id="stations"')]
    for each in re.search(r'hx-select-oob="([^"]*)"', form)[1].split(","):
        assert page.count(f'id="{each.removeprefix("#")}"') == 1


def test_a_place_as_precise_as_a_tape_survives_the_links(client, erin, belt):
    answer = get(client, erin, page_of(belt), strand="return", chainage_m="80.25 m")
    assert answer.context["trial"].place.chainage_m == 80.25


def test_the_belts_page_and_the_engineers_day_lead_there(client, erin, tess, belt):
    assert page_of(belt) in get(client, erin, belt.get_absolute_url()).text
    today = get(client, erin, reverse("today")).text
    assert page_of(belt) in today
    assert reverse("placement") in today
    assert page_of(belt) not in get(client, tess, belt.get_absolute_url()).text


def test_a_belt_without_a_model_in_the_book_is_judged_all_the_same(client, erin, alder, belt_a1):
    make.run_record(belt_a1, days_ago(300), days_ago(1), 3000.0)
    for n in range(3):
        make.incident(belt_a1, days_ago(10 + n), chainage_m=70.0)
    answer = get(client, erin, page_of(belt_a1))
    assert answer.context["trial"].model is None
    assert "No model in the book" in answer.text
    assert "no model fits" in answer.text


def test_a_reason_not_to_wait_stands_in_the_ranking_and_on_the_belts_page(client, erin, belt):
    Incident.objects.update(suspected_cause=Incident.Cause.BUILD_UP)
    page = get(client, erin, page_of(belt)).text
    assert "Place it all the same, with a reason" in page
    address = re.search(r'href="([^"]*/overrides/new/\?[^"]*)"', page)[1].replace("&amp;", "&")
    form = client.get(address)
    assert form.context["form"]["low_m"].value() is not None
    sent = {"strand": "return", "low_m": "60 m", "high_m": "120 m", "reason": ""}
    assert client.post(address, sent).status_code == 422
    assert client.post(address, {**sent, "reason": "scraper is renewed in May"}).status_code == 302
    said = "To be fitted all the same, because: scraper is renewed in May (erin,"
    assert said in get(client, erin, reverse("placement")).text
    page = get(client, erin, page_of(belt)).text
    assert page.count(said) >= 2
    row = CauseOverride.objects.get()
    change = reverse("cause-override-update", args=[row.pk])
    ended = {**sent, "reason": row.reason, "ended_on": make.today().isoformat(), "version": row.version}
    assert client.post(change, ended).status_code == 302
    assert said not in get(client, erin, reverse("placement")).text


def test_a_logged_station_answers_whether_it_could_be_proven(client, pat, belt):
    assert "no: incidents may go unseen" in get(client, pat, page_of(belt)).text
    address = reverse("logged-station-create", args=[belt.pk])
    assert "since" not in get(client, pat, address, chainage_m="80", strand="return").context["form"].errors
    sent = {"strand": "return", "chainage_m": "80 m", "from_on": "2026-01-05", "logged_by": "shift leader"}
    assert client.post(address, sent).status_code == 302
    page = get(client, pat, page_of(belt)).text
    assert "1 switch or logged station stands in the zone, at 80 m." in page
    assert "shift leader" in page
    assert LoggedStation.objects.get().created_by == pat
