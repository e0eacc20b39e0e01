"""People at a real browser: started once, signed in through the page."""

from __future__ import annotations

import pytest


@pytest.fixture(scope="session")
def base_url():
    """The plugin's own is written in a way that the next pytest drops; each test has its live server's address."""
    return


@pytest.fixture
def built_in_kinds(transactional_db):
    """What a migration put there once; the test before this one emptied every table."""
    from tests import make

    make.built_in_check_kinds()


@pytest.fixture
def page_of(page, live_server, built_in_kinds):
    """`page_of(person)`: a page signed in as them; what the browser complains about fails the test."""
    complaints = []
    page.on("pageerror", lambda error: complaints.append(str(error)))
    page.on("console", lambda message: complaints.append(message.text) if message.type == "error" else None)

    def sign_in(person, password="pass-word-1"):
        page.goto(f"{live_server.url}/sign-in/")
        page.fill("input[name=username]", person.username)
        page.fill("input[name=password]", password)
        page.click("main button.main")
        page.wait_for_url(f"{live_server.url}/")
        return page

    yield sign_in
    # A form that is sent back answers 422 (a fault) or 409 (somebody was there before), which Chromium logs as a failed
    # load: that is no fault here.
    assert [each for each in complaints if "422" not in each and "409" not in each] == []
