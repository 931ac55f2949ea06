"""The admin's site, whose moderators' desk is open to the moderators' group."""

from __future__ import annotations

from django.contrib.admin import AdminSite
from django.http import HttpRequest
from django.utils.translation import gettext_lazy as _

from rigs.permissions import is_moderator


class Desk(AdminSite):
    """Django's admin, entered by staff and by moderators.

    Each table asks by itself what an account may see of it, so entering gives no other right.
    """

    enable_nav_sidebar = False
    """The queue and the crumbs lead everywhere; seventy tables beside each page weigh as much."""
    site_header = site_title = _("Samespool administration")

    def has_permission(self, request: HttpRequest) -> bool:
        user = request.user
        return bool(user.is_active and (super().has_permission(request) or is_moderator(user)))
