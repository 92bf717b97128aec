"""Routes of the pages of this room."""

from django.urls import path

from accounts.pages.account import AccountPage
from accounts.pages.front import FrontView
from accounts.pages.links import InvitationPage, NewAddressPage, PasswordPage
from accounts.pages.proving import CodesPage, ProofPage
from accounts.pages.signing_in import AskForLinkPage, FollowLinkPage, LostPasswordPage, SignInPage, SignOutPage

urlpatterns = [
    path("", FrontView.as_view(), name="front"),
    path("account/", AccountPage.as_view(), name="account"),
    path("account/codes/", CodesPage.as_view(), name="account-codes"),
    path("account/proof/", ProofPage.as_view(), name="account-proof"),
    path("new-address/<str:token>/", NewAddressPage.as_view(), name="new-address-page"),
    path("password/<str:token>/", PasswordPage.as_view(), name="password-page"),
    path("invitation/<str:token>/", InvitationPage.as_view(), name="invitation-page"),
    path("sign-in/", SignInPage.as_view(), name="sign-in"),
    path("sign-in/lost-password/", LostPasswordPage.as_view(), name="lost-password"),
    path("sign-in/link/", AskForLinkPage.as_view(), name="sign-in-link"),
    path("sign-in/link/<str:token>/", FollowLinkPage.as_view(), name="sign-in-page"),
    path("sign-out/", SignOutPage.as_view(), name="sign-out"),
]
