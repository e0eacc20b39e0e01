"""Roles and their rights after a migration."""

from __future__ import annotations

import pytest
from django.contrib.auth.models import Group, Permission
from django.core.management.sql import emit_post_migrate_signal

from plant import permissions
from plant.permissions import RIGHTS, ROLES


def test_roles_have_the_rights_of_every_app_after_a_migration(db):
    Group.objects.all().delete()
    Permission.objects.all().delete()
    emit_post_migrate_signal(verbosity=0, interactive=False, db="default")
    for role in ROLES:
        given = Group.objects.get(name=role).permissions.select_related("content_type")
        assert {f"{each.content_type.app_label}.{each.codename}" for each in given} == RIGHTS[role]


@pytest.mark.django_db
def test_roles_are_written_once_a_migration(monkeypatch):
    written = []
    monkeypatch.setattr(permissions, "sync_roles", lambda: written.append(1))
    emit_post_migrate_signal(verbosity=0, interactive=False, db="default")
    assert written == [1]
