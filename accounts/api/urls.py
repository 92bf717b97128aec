"""Routes of the accounts room."""

from django.urls import URLPattern, URLResolver, path
from rest_framework.routers import SimpleRouter

from accounts.api.audit import AuditEntryViewSet
from accounts.api.clients import ClientViewSet
from accounts.api.company import CompanyViewSet
from accounts.api.invitations import InvitationLinkView, InvitationViewSet
from accounts.api.me import MeViewSet
from accounts.api.members import MemberViewSet
from accounts.api.signing_in import LoginView, LogoutViewSet, SessionView
from accounts.api.tokens import TokenViewSet
from accounts.http.problem_pages import ProblemKindsView, ProblemKindView
from accounts.jobs.api import JobViewSet

router = SimpleRouter()
router.register("audit-entries", AuditEntryViewSet)
router.register("clients", ClientViewSet)
router.register("invitations", InvitationViewSet)
router.register("jobs", JobViewSet)
router.register("members", MemberViewSet)
router.register("tokens", TokenViewSet)

urlpatterns: list[URLPattern | URLResolver] = [
    path("company/", CompanyViewSet.as_view({"get": "retrieve", "patch": "partial_update"}), name="company"),
    path("invitation-links/<str:token>/", InvitationLinkView.as_view(), name="invitation-link"),
    path("login/", LoginView.as_view(), name="login"),
    path("logout/", LogoutViewSet.as_view({"post": "destroy"}), name="logout"),
    path("me/", MeViewSet.as_view({"get": "retrieve", "patch": "partial_update"}), name="me"),
    path("me/password/", MeViewSet.as_view({"post": "change_password"}), name="my-password"),
    path("problems/", ProblemKindsView.as_view(), name="problem-kinds"),
    path("problems/<slug:kind>/", ProblemKindView.as_view(), name="problem-kind"),
    path("session/", SessionView.as_view(), name="session"),
    *router.urls,
]
