"""Accounts and groups in the admin: the rights that lead somewhere, on a page that stays light."""

from __future__ import annotations

from typing import Any

from allauth.mfa.models import Authenticator
from django import forms
from django.contrib import admin
from django.contrib.auth.admin import GroupAdmin, UserAdmin
from django.contrib.auth.forms import UserChangeForm
from django.contrib.auth.models import Group, Permission, User
from django.db.models import Q, QuerySet
from knox.models import AuthToken

from rigs.admin import ReadOnly


def rights_of_use() -> QuerySet[Permission]:
    """Of the rights to each table those that the admin acts on: what it only shows has one."""
    wanted = Q(pk=None)
    for model, shown_by in admin.site._registry.items():
        table = Q(content_type__app_label=model._meta.app_label)
        table &= Q(content_type__model=model._meta.model_name)
        if isinstance(shown_by, ReadOnly):
            table &= Q(codename__startswith="view_")
        wanted |= table
    return Permission.objects.filter(wanted).select_related("content_type")


class _RightsOfUse(forms.ModelForm):  # type: ignore[type-arg]  # of an account and of a group
    """A form whose rights are those of use, and those that were given before."""

    rights = ""

    def __init__(self, *given: Any, **named: Any) -> None:
        super().__init__(*given, **named)
        field = self.fields.get(self.rights)
        if not isinstance(field, forms.ModelMultipleChoiceField):
            return
        offered = rights_of_use()
        if self.instance.pk:
            held = getattr(self.instance, self.rights).values("pk")
            offered = Permission.objects.filter(
                Q(pk__in=offered.values("pk")) | Q(pk__in=held)
            ).select_related("content_type")
        field.queryset = offered


class AccountForm(_RightsOfUse, UserChangeForm):  # type: ignore[type-arg]  # of accounts
    """Of an account."""

    rights = "user_permissions"


class GroupForm(_RightsOfUse):
    """Of a group."""

    rights = "permissions"


admin.site.unregister([User, Group, Authenticator, AuthToken])


@admin.register(User)
class AccountAdmin(UserAdmin[User]):
    """Accounts. When one was made and used is the service's to say."""

    form = AccountForm
    filter_horizontal = ()
    readonly_fields = ("last_login", "date_joined")


@admin.register(Group)
class AccountGroupAdmin(GroupAdmin):
    """Groups of accounts."""

    filter_horizontal = ()
    form = GroupForm


class MadeByTheirOwner:
    """Part of an admin of what only an account makes for itself; it can be ended here."""

    def _never(self, *_asked: object) -> bool:
        return False

    has_add_permission = has_change_permission = _never


@admin.register(Authenticator)
class AuthenticatorAdmin(MadeByTheirOwner, admin.ModelAdmin[Authenticator]):
    """Second factors, without their secrets."""

    list_display = ("user", "type", "created_at", "last_used_at")
    list_filter = ("type", "created_at", "last_used_at")
    exclude = ("data",)
    list_select_related = ("user__contributor",)
    search_fields = ("user__username",)


@admin.register(AuthToken)
class TokenAdmin(MadeByTheirOwner, admin.ModelAdmin[AuthToken]):
    """Tokens, of which no more than a sum is known."""

    list_display = ("digest", "user", "created", "expiry")
    list_filter = ("created", "expiry")
    list_select_related = ("user__contributor",)
    search_fields = ("user__username",)
