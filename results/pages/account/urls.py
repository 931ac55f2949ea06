"""Addresses of accounts: allauth's views at plain addresses, by the names that it looks for."""

from allauth.account import views
from allauth.mfa.base import views as factors
from allauth.mfa.recovery_codes import views as codes
from allauth.mfa.totp import views as authenticator
from django.urls import converters, path, register_converter

from results.pages.account import account


class Base36(converters.StringConverter):
    """The id of an account in a link: no hyphen, since the key after the first one holds more."""

    regex = "[0-9A-Za-z]+"


register_converter(Base36, "base36")

urlpatterns = [
    path("sign-in/", views.login, name="account_login"),
    path("sign-in/second-factor/", factors.authenticate, name="mfa_authenticate"),
    path("sign-up/", account.SignUp.as_view(), name="account_signup"),
    path("sign-out/", views.logout, name="account_logout"),
    path("account/inactive/", views.account_inactive, name="account_inactive"),
    path("account/again/", views.reauthenticate, name="account_reauthenticate"),
    path("account/again/second-factor/", factors.reauthenticate, name="mfa_reauthenticate"),
    path("account/mail/", views.email, name="account_email"),
    path(
        "account/mail/sent/", views.email_verification_sent, name="account_email_verification_sent"
    ),
    path("account/mail/confirm/<str:key>/", views.confirm_email, name="account_confirm_email"),
    path("account/password/", views.password_change, name="account_change_password"),
    path("account/password/set/", views.password_set, name="account_set_password"),
    path("account/password/forgotten/", account.forgotten, name="account_reset_password"),
    path(
        "account/password/forgotten/sent/",
        views.password_reset_done,
        name="account_reset_password_done",
    ),
    path(
        "account/password/forgotten/done/",
        views.password_reset_from_key_done,
        name="account_reset_password_from_key_done",
    ),
    path(
        "account/password/forgotten/<base36:uidb36>-<str:key>/",
        views.password_reset_from_key,
        name="account_reset_password_from_key",
    ),
    path("account/second-factor/", factors.index, name="mfa_index"),
    path("account/second-factor/set-up/", authenticator.activate_totp, name="mfa_activate_totp"),
    path("account/second-factor/end/", authenticator.deactivate_totp, name="mfa_deactivate_totp"),
    path("account/second-factor/codes/", codes.view_recovery_codes, name="mfa_view_recovery_codes"),
    path(
        "account/second-factor/codes/new/",
        codes.generate_recovery_codes,
        name="mfa_generate_recovery_codes",
    ),
    path(
        "account/second-factor/codes/download/",
        codes.download_recovery_codes,
        name="mfa_download_recovery_codes",
    ),
]
