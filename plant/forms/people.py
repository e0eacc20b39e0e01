"""Who is added to a plant, and in which role."""

from __future__ import annotations

from django import forms
from django.utils.text import capfirst
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from plant.forms.base import PersonForm
from plant.models import Person
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


class NameRemovalForm(forms.Form):
    """Why a name is removed, and the name once more, to say that it is meant."""

    reason = forms.CharField(label=_("why, without the name"), max_length=300)
    typed = forms.CharField(label=_("the name under which this person signed in"), max_length=150)


class KeeperForm(forms.Form):
    """Who is made a keeper of the site: a name is typed, a person is read."""

    username = forms.CharField(label=_("signs in as"), max_length=150)

    def clean_username(self) -> Person:
        name = self.cleaned_data["username"].strip()
        person = Person.objects.filter(username__iexact=name).first()
        if person is None:
            words = gettext("Nobody signs in as %s. Look at the spelling.")
            raise forms.ValidationError(words % name)
        return person
