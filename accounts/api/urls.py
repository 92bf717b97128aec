"""Routes of the accounts room."""

from django.urls import URLPattern, URLResolver, path
from rest_framework.routers import SimpleRouter

from accounts.api.audit import AuditEntryViewSet
from accounts.api.clients import ClientViewSet
from accounts.api.company import CompanyViewSet
from accounts.api.index import IndexView
from accounts.api.invitations import InvitationLinkView, InvitationViewSet
from accounts.api.lost import AddressLinkView, ResetLinkView, ResetView
from accounts.api.me import MeViewSet
from accounts.api.members import MemberViewSet
from accounts.api.sessions import BrowserSessionViewSet
from accounts.api.signing_in import LoginView, LogoutViewSet, SessionView
from accounts.api.tokens import TokenViewSet
from accounts.http.problem_pages import ProblemKindsView, ProblemKindView
from accounts.jobs.api import JobViewSet
from accounts.webhooks.api import WebhookDeliveryViewSet, WebhookEndpointViewSet

router = SimpleRouter()
router.register("audit-entries", AuditEntryViewSet)
router.register("browser-sessions", BrowserSessionViewSet)
router.register("clients", ClientViewSet)
router.register("deliveries", WebhookDeliveryViewSet)
router.register("invitations", InvitationViewSet)
router.register("jobs", JobViewSet)
router.register("members", MemberViewSet)
router.register("tokens", TokenViewSet)
router.register("webhook-endpoints", WebhookEndpointViewSet)

urlpatterns: list[URLPattern | URLResolver] = [
    path("", IndexView.as_view(), name="index"),
    path("company/", CompanyViewSet.as_view({"get": "retrieve", "patch": "partial_update"}), name="company"),
    path("invitation-links/<str:token>/", InvitationLinkView.as_view(), name="invitation-link"),
    path("login/", LoginView.as_view(), name="login"),
    path("logout/", LogoutViewSet.as_view({"post": "destroy"}), name="logout"),
    path("me/", MeViewSet.as_view({"get": "retrieve", "patch": "partial_update"}), name="me"),
    path("me/authentication/", MeViewSet.as_view({"post": "authenticate"}), name="authentication"),
    path(
        "me/second-factor/",
        MeViewSet.as_view({"post": "begin_second_factor", "delete": "remove_second_factor"}),
        name="second-factor",
    ),
    path(
        "me/second-factor/confirm/",
        MeViewSet.as_view({"post": "confirm_second_factor"}),
        name="confirm-second-factor",
    ),
    path(
        "me/second-factor/recovery-codes/",
        MeViewSet.as_view({"post": "renew_recovery_codes"}),
        name="recovery-codes",
    ),
    path("me/email/", MeViewSet.as_view({"post": "change_email"}), name="my-email"),
    path("me/end-all/", MeViewSet.as_view({"post": "end_all"}), name="end-all"),
    path("me/password/", MeViewSet.as_view({"post": "change_password"}), name="my-password"),
    path("new-addresses/<str:token>/", AddressLinkView.as_view(), name="new-address"),
    path("password-resets/", ResetView.as_view(), name="password-resets"),
    path("password-resets/<str:token>/", ResetLinkView.as_view(), name="password-reset"),
    path("problems/", ProblemKindsView.as_view(), name="problem-kinds"),
    path("problems/<slug:kind>/", ProblemKindView.as_view(), name="problem-kind"),
    path("session/", SessionView.as_view(), name="session"),
    *router.urls,
]
