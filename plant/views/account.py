"""Signing in and out, and what a person sets for themselves."""

from __future__ import annotations

from django import forms
from django.contrib import messages
from django.contrib.auth import views as auth_views
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse_lazy
from django.utils.decorators import method_decorator
from django.utils.translation import gettext as _

from plant.models import Person
from plant.permissions import open_to_all, open_to_members
from plant.services.people import change_account


@method_decorator(open_to_all, name="dispatch")
class SignIn(auth_views.LoginView):
    template_name = "plant/sign_in.html"
    redirect_authenticated_user = True


class AccountForm(forms.ModelForm):
    class Meta:
        model = Person
        fields = ["first_name", "last_name", "email", "unit_system", "wants_digest", "wants_contrast"]


@open_to_members
def account(request: HttpRequest) -> HttpResponse:
    form = AccountForm(request.POST or None, instance=request.user)
    if request.method == "POST" and form.is_valid():
        change_account(person=request.user, **form.cleaned_data)
        messages.success(request, _("Saved."))
        return redirect("account")
    memberships = request.user.memberships.select_related("plant", "role")
    return render(request, "plant/account.html", {"title": _("Your account"), "form": form, "memberships": memberships})


class ChangePassword(auth_views.PasswordChangeView):
    template_name = "plant/password_form.html"
    success_url = reverse_lazy("account")


change_password = open_to_members(ChangePassword.as_view(extra_context={"title": "Change your password"}))
