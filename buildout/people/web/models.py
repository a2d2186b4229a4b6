"""Who may sign in, and by which link."""

from __future__ import annotations

import hashlib
import secrets
from datetime import timedelta
from typing import ClassVar

from django.contrib.auth.models import AbstractBaseUser, BaseUserManager
from django.db import models
from django.utils import timezone


class UserManager(BaseUserManager["User"]):
    def create_user(self, email: str, name: str, password: str | None = None) -> User:
        """A new account; without a password it is reached by sign-in links alone."""
        user = self.model(email=self.normalize_email(email).lower(), name=name)
        user.set_password(password)
        user.save()
        return user

    def get_by_natural_key(self, username: str | None) -> User:
        return self.get(email__iexact=username)


class User(AbstractBaseUser):
    """A person with an account: owner, partner or crew lead. Helpers need none."""

    email = models.EmailField(unique=True)
    name = models.CharField(max_length=120)
    is_active = models.BooleanField(default=True)
    joined = models.DateTimeField(default=timezone.now)

    objects: ClassVar[UserManager] = UserManager()

    USERNAME_FIELD = "email"
    REQUIRED_FIELDS: ClassVar[list[str]] = ["name"]

    def __str__(self) -> str:
        return self.name


def token_digest(token: str) -> str:
    return hashlib.sha256(token.encode()).hexdigest()


class SignInLinkManager(models.Manager["SignInLink"]):
    def issue(self, user: User, *, days: int = 14, once: bool = True) -> str:
        """A new link's secret. Only its digest is kept, so it can be shown this once."""
        token = secrets.token_urlsafe(24)
        self.create(user=user, digest=token_digest(token), expires=timezone.now() + timedelta(days=days), once=once)
        return token

    def usable(self, token: str) -> SignInLink | None:
        link = self.select_related("user").filter(digest=token_digest(token)).first()
        return link if link is not None and link.is_usable() else None


class SignInLink(models.Model):
    """A link that signs one person in, for a while, once or until it expires."""

    user = models.ForeignKey(User, on_delete=models.CASCADE, related_name="sign_in_links")
    digest = models.CharField(max_length=64, unique=True)
    expires = models.DateTimeField()
    once = models.BooleanField(default=True)
    used = models.DateTimeField(null=True, blank=True)

    objects: ClassVar[SignInLinkManager] = SignInLinkManager()

    def is_usable(self) -> bool:
        return self.user.is_active and timezone.now() < self.expires and not (self.once and self.used)

    def mark_used(self) -> None:
        self.used = timezone.now()
        self.save(update_fields=["used"])

    def __str__(self) -> str:
        return f"sign-in link of {self.user}"


def any_account() -> bool:
    return User.objects.exists()
