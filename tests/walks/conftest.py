"""People at a real browser: started once, signed in through the page."""

from __future__ import annotations

import pytest

from tests.walks.complaints import Complaints


@pytest.fixture
def built_in_kinds(transactional_db):
    """What a migration put there once; the test before this one emptied every table."""
    from tests import make

    make.built_in_check_kinds()


@pytest.fixture
def page_of(page, live_server, built_in_kinds):
    """`page_of(person)`: a page signed in as them; what the browser complains about fails the test."""
    complaints = Complaints(page)

    def sign_in(person, password="pass-word-1"):
        page.goto(f"{live_server.url}/sign-in/")
        page.fill("input[name=username]", person.username)
        page.fill("input[name=password]", password)
        page.click("main button.main")
        page.wait_for_url(f"{live_server.url}/")
        return page

    yield sign_in
    assert complaints.faults() == []
