"""Routes of the pages of this room."""

from django.urls import path

from accounts.pages.links import InvitationPage, NewAddressPage, PasswordPage

urlpatterns = [
    path("new-address/<str:token>/", NewAddressPage.as_view(), name="new-address-page"),
    path("password/<str:token>/", PasswordPage.as_view(), name="password-page"),
    path("invitation/<str:token>/", InvitationPage.as_view(), name="invitation-page"),
]
