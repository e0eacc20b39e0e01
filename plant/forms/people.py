"""Who is added to a plant, and in which role."""

from __future__ import annotations

from django import forms
from django.utils.text import capfirst
from django.utils.translation import gettext_lazy as _

from plant.forms.base import PersonForm
from plant.permissions import ROLES

ROLE_CHOICES = [(role, capfirst(role)) for role in ROLES]


class NewPersonForm(PersonForm):
    username = forms.CharField(label=_("signs in as"), max_length=150)
    email = forms.EmailField(label=_("e-mail"), required=False)
    first_name = forms.CharField(label=_("first name"), max_length=150, required=False)
    last_name = forms.CharField(label=_("last name"), max_length=150, required=False)
    role = forms.ChoiceField(label=_("role"), choices=ROLE_CHOICES)
    client_key = forms.UUIDField(widget=forms.HiddenInput)


class RoleForm(PersonForm):
    """Gives a role to somebody who signs in already."""

    username = forms.CharField(label=_("signs in as"), max_length=150)
    role = forms.ChoiceField(label=_("role"), choices=ROLE_CHOICES)
