"""What is said in the log of signing in: who, from where, and whether it went well. Never a password.

A name that nobody signs in with is not written out: people type their password into the wrong box.
"""

from __future__ import annotations

import logging
from typing import Any

from axes.signals import user_locked_out
from django.contrib.auth.signals import user_logged_in, user_login_failed
from django.dispatch import receiver

from plant.models import Person
from plant.views.sign_in import client_address

log = logging.getLogger("plant.sign_in")


def address_of(request: Any) -> str:
    return client_address(request) if request is not None else "the shell"


def name_for_log(given: Any) -> str:
    name = str(given or "").strip()
    known = Person.objects.filter(username__iexact=name).values_list("username", flat=True).first() if name else None
    return known or ("a name that nobody has" if name else "no name")


@receiver(user_logged_in, dispatch_uid="plant.log_sign_in")
def log_sign_in(sender: Any, request: Any, user: Any, **kwargs: Any) -> None:
    log.info("signed in: %s from %s", user, address_of(request))


@receiver(user_login_failed, dispatch_uid="plant.log_failed_sign_in")
def log_failed_sign_in(sender: Any, credentials: dict[str, Any], request: Any = None, **kwargs: Any) -> None:
    log.warning("sign-in failed: %s from %s", name_for_log(credentials.get("username")), address_of(request))


@receiver(user_locked_out, dispatch_uid="plant.log_lockout")
def log_lockout(sender: Any, request: Any, username: str = "", **kwargs: Any) -> None:
    log.warning("sign-in slowed: %s from %s", name_for_log(username), address_of(request))
