from __future__ import annotations

import secrets
from typing import Any

from django import forms
from django.contrib.auth import authenticate
from django.contrib.auth.password_validation import validate_password

from buildout.people.web.models import User
from buildout.people.web.tokens import setup_token


class SignInForm(forms.Form):
    email = forms.EmailField(label="E-mail", widget=forms.EmailInput(attrs={"autocomplete": "username"}))
    password = forms.CharField(
        label="Password", widget=forms.PasswordInput(attrs={"autocomplete": "current-password"}), strip=False
    )

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        if data.get("email") and data.get("password"):
            self.user = authenticate(username=data["email"].lower(), password=data["password"])
            if self.user is None:
                raise forms.ValidationError("E-mail and password do not go together. Check both, or ask for a link.")
        return data


class FirstAccountForm(forms.Form):
    token = forms.CharField(
        label="Token",
        help_text="Printed where the program was started, for example 7f3a-91c2-0d4e.",
        widget=forms.TextInput(attrs={"autocomplete": "off", "autocapitalize": "none"}),
    )
    name = forms.CharField(label="Your name", max_length=120, widget=forms.TextInput(attrs={"autocomplete": "name"}))
    email = forms.EmailField(label="E-mail", widget=forms.EmailInput(attrs={"autocomplete": "email"}))
    password = forms.CharField(
        label="Password",
        help_text="At least 10 characters; three or four words are easy to remember.",
        widget=forms.PasswordInput(attrs={"autocomplete": "new-password"}, render_value=True),
        strip=False,
    )

    def clean_token(self) -> str:
        token = str(self.cleaned_data["token"]).strip().lower()
        if not secrets.compare_digest(token.encode(), setup_token().encode()):
            raise forms.ValidationError("That is not the token printed at start. It looks like 7f3a-91c2-0d4e.")
        return token

    def clean_email(self) -> str:
        return str(self.cleaned_data["email"]).lower()

    def clean_password(self) -> str:
        password = str(self.cleaned_data["password"])
        validate_password(password)
        return password

    def save(self) -> User:
        data = self.cleaned_data
        return User.objects.create_user(data["email"], data["name"], data["password"])
