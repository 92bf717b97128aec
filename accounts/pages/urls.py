"""Routes of the pages of this room."""

from django.urls import path

from accounts.pages.links import InvitationPage

urlpatterns = [
    path("invitation/<str:token>/", InvitationPage.as_view(), name="invitation-page"),
]
