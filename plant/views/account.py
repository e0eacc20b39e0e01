"""Signing in and out, and what a person sets for themselves."""

from __future__ import annotations

from typing import Any
from zoneinfo import available_timezones

from django import forms
from django.contrib import messages
from django.contrib.auth import login
from django.contrib.auth import views as auth_views
from django.contrib.auth.forms import PasswordChangeForm
from django.contrib.auth.password_validation import validate_password
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse_lazy
from django.utils.decorators import method_decorator
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _lazy

from plant.errors import Refused
from plant.forms.base import show_refusal
from plant.models import Person
from plant.permissions import PlantRequest, open_to_all, open_to_members
from plant.services.people import change_account, open_site
from plant.services.sign_ins import own_password_chosen
from plant.views.sign_in import remember_browser


@method_decorator(open_to_all, name="dispatch")
class SignIn(auth_views.LoginView):
    template_name = "plant/sign_in.html"
    redirect_authenticated_user = True

    def form_valid(self, form: Any) -> HttpResponse:
        answer = super().form_valid(form)
        remember_browser(self.request, answer, form.get_user())
        return answer


class AccountForm(forms.ModelForm):  # type: ignore[type-arg]  # at run time it takes none
    class Meta:
        model = Person
        fields = ["first_name", "last_name", "email", "unit_system", "wants_digest", "wants_contrast"]


@open_to_members
def account(request: PlantRequest) -> HttpResponse:
    form = AccountForm(request.POST or None, instance=request.user)
    if request.method == "POST" and form.is_valid():
        change_account(person=request.user, **form.cleaned_data)
        messages.success(request, _("Saved."))
        return redirect("account")
    memberships = request.user.memberships.select_related("plant", "role")
    return render(request, "plant/account.html", {"title": _("Your account"), "form": form, "memberships": memberships})


class OwnPasswordForm(PasswordChangeForm):
    def clean_new_password1(self) -> str:
        given = self.cleaned_data["new_password1"]
        if self.user.must_change_password and self.user.check_password(given):
            raise forms.ValidationError(_("This is the first password that you were given. Choose one of your own."))
        return given


class ChangePassword(auth_views.PasswordChangeView):
    request: PlantRequest
    template_name = "plant/password_form.html"
    form_class = OwnPasswordForm
    success_url = reverse_lazy("account")

    def form_valid(self, form: Any) -> HttpResponse:
        is_first = self.request.user.must_change_password
        answer = super().form_valid(form)
        own_password_chosen(person=form.user)
        messages.success(self.request, _("Your password is changed. Other browsers have to sign in again."))
        return redirect("today") if is_first else answer


change_password = open_to_members(ChangePassword.as_view(extra_context={"title": "Change your password"}))


class FirstSignInForm(forms.Form):
    username = forms.CharField(label=_lazy("your name for signing in"), max_length=60)
    email = forms.EmailField(label=_lazy("e-mail"), required=False)
    password = forms.CharField(
        label=_lazy("password"), widget=forms.PasswordInput, help_text=_lazy("At least 10 characters.")
    )
    password_again = forms.CharField(label=_lazy("password again"), widget=forms.PasswordInput)
    plant_name = forms.CharField(label=_lazy("name of the plant"), max_length=80)
    time_zone = forms.ChoiceField(
        label=_lazy("time zone of the plant"),
        choices=[(name, name) for name in sorted(available_timezones()) if "/" in name or name == "UTC"],
        initial="UTC",
    )

    def clean(self) -> dict[str, Any]:
        given = super().clean() or {}
        if given.get("password") != given.get("password_again"):
            self.add_error("password_again", _("The two passwords differ. Type the same one twice."))
        elif given.get("password"):
            try:
                validate_password(given["password"], Person(username=given.get("username", "")))
            except forms.ValidationError as error:
                self.add_error("password", error)
        return given


@open_to_all
def first_sign_in(request: PlantRequest) -> HttpResponse:
    """The page of a blank site: makes the first person and the first plant, then closes for good."""
    if Person.objects.exists():
        return redirect("sign-in")
    form = FirstSignInForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        given = {name: value for name, value in form.cleaned_data.items() if name != "password_again"}
        try:
            person = open_site(**given)
        except Refused as refusal:
            show_refusal(form, refusal)
        else:
            login(request, person, backend="django.contrib.auth.backends.ModelBackend")
            return redirect("today")
    return render(
        request,
        "plant/first_sign_in.html",
        {"title": _("Open the book"), "form": form},
        status=422 if form.errors else 200,
    )
