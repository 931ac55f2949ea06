"""Which site the admin is: named here, since Django reads it before any model is there."""

from django.contrib.admin.apps import AdminConfig


class Administration(AdminConfig):
    """The admin, with the moderators' desk in it."""

    default_site = "results.review.desk.site.Desk"
