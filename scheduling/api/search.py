"""One search over everything an office is called about: clients, sites, units, cartridges, items, visits, orders."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, Final

from django.db.models import QuerySet
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from accounts.api.clients import ClientViewSet
from accounts.http.faults import parameter_fault
from accounts.http.search import PARAMETER, StrictSearchFilter
from accounts.http.serializers import AnswerSerializer
from accounts.http.viewsets import TenantViewSet
from accounts.models import Client, Company
from accounts.permissions import allows
from accounts.tenancy import known_to
from fleet.api.catalogue import CatalogueItemViewSet
from fleet.api.placements import PlacementViewSet
from fleet.api.sites import SiteViewSet
from fleet.api.units import UnitViewSet
from fleet.models import CatalogueItem, Placement, Site, Unit
from scheduling.api.orders import PurchaseOrderViewSet
from scheduling.api.visits import VisitViewSet
from scheduling.models import PurchaseOrder, Visit
from scheduling.services.words import search as words

#: Rows of one kind that are shown; the list of that kind has all of them.
MOST_FOUND: Final = 10


@dataclass(frozen=True, slots=True)
class _Kind:
    """Something that is found: the viewset of its list, the rows as they are searched, and how a row is called."""

    code: str
    path: str
    viewset: type[TenantViewSet]
    rows: QuerySet[Any]
    title: Callable[[Any], str]
    detail: Callable[[Any], str]
    client: Callable[[Any], Client | None]


_KINDS: Final[Sequence[_Kind]] = (
    _Kind("client", "clients", ClientViewSet, Client.objects.all(), words.client, words.of_client, lambda row: row),
    _Kind(
        "site",
        "sites",
        SiteViewSet,
        Site.objects.select_related("client"),
        words.site,
        words.of_site,
        lambda row: row.client,
    ),
    _Kind(
        "unit",
        "units",
        UnitViewSet,
        Unit.objects.select_related("site__client"),
        words.unit,
        words.of_unit,
        lambda row: row.site.client,
    ),
    _Kind(
        "cartridge",
        "placements",
        PlacementViewSet,
        Placement.objects.select_related("item", "position__unit__site__client").order_by("-placed_at", "-pk"),
        words.cartridge,
        words.of_cartridge,
        lambda row: row.position.unit.site.client,
    ),
    _Kind(
        "item",
        "catalogue-items",
        CatalogueItemViewSet,
        CatalogueItem.objects.all(),
        words.item,
        words.of_item,
        lambda _: None,
    ),
    _Kind(
        "visit",
        "visits",
        VisitViewSet,
        Visit.objects.select_related("site__client").order_by("-updated_at", "-pk"),
        words.visit,
        words.of_visit,
        lambda row: row.site.client,
    ),
    _Kind(
        "order",
        "purchase-orders",
        PurchaseOrderViewSet,
        PurchaseOrder.objects.select_related("supplier"),
        words.order,
        words.of_order,
        lambda _: None,
    ),
)


class FoundSerializer(AnswerSerializer):
    """One row that was found."""

    id = serializers.IntegerField(help_text="id of the row")
    path = serializers.CharField(help_text="address of the row on this server")
    title = serializers.CharField(help_text="what it is called")
    detail = serializers.CharField(help_text="what tells it from others of the name; empty where nothing does")
    phone = serializers.CharField(help_text="number of its client, to call; empty where there is none")


class FoundKindSerializer(AnswerSerializer):
    """The rows of one kind that were found."""

    kind = serializers.ChoiceField(choices=[kind.code for kind in _KINDS], help_text="what kind of row")
    title = serializers.CharField(help_text="what the kind is called")
    count = serializers.IntegerField(help_text="how many there are")
    found = FoundSerializer(many=True, help_text=f"the first {MOST_FOUND} of them; the list of the kind has all")


class SearchAnswerSerializer(AnswerSerializer):
    """What was found, by kind."""

    by_kind = FoundKindSerializer(many=True, help_text="the kinds of which something was found")


class SearchViewSet(TenantViewSet):
    """Search everything at once."""

    resource = "search"
    queryset = Company.objects.all()
    serializer_class = SearchAnswerSerializer
    query_parameters = (PARAMETER,)
    pagination_class = None
    filter_backends = ()

    @extend_schema(
        parameters=[
            OpenApiParameter(
                PARAMETER,
                str,
                required=True,
                description="Words to look for, in any case and order, each of which must stand in a row: of a name, a "
                "code, an address, a telephone number, a serial number, an order.",
            )
        ],
        responses=SearchAnswerSerializer,
    )
    def list_found(self, request: Request) -> Response:
        """Find clients, sites, units, cartridges, items, visits and orders by words."""
        if not request.query_params.get(PARAMETER, "").strip():
            raise parameter_fault(PARAMETER, "search is missing: give the words to look for, such as '?search=quay'.")
        kinds = [self._found(request, kind) for kind in _KINDS if allows(self.by, kind.viewset.resource, "list")]
        shown = {"by_kind": [kind for kind in kinds if kind["count"]]}
        return Response(self.get_serializer(shown).data)

    def _found(self, request: Request, kind: _Kind) -> dict[str, Any]:
        view = kind.viewset(request=request, format_kwarg=None, action="list")
        may_see = kind.rows.visible_to(self.by)  # type: ignore[attr-defined]
        known = known_to(self.by)

        def knows(client: Client) -> bool:
            return known is None or client.pk in known.client_ids

        rows = StrictSearchFilter().filter_queryset(request, may_see, view)
        return {
            "kind": kind.code,
            "title": words.kind(kind.code),
            "count": rows.count(),
            "found": [
                {
                    "id": row.pk,
                    "path": f"/api/v1/{kind.path}/{row.pk}/",
                    "title": kind.title(row),
                    "detail": kind.detail(row),
                    "phone": client.phone if (client := kind.client(row)) is not None and knows(client) else "",
                }
                for row in rows[:MOST_FOUND]
            ],
        }
