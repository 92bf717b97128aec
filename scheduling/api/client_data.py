"""A client's data: everything of one client as one archive, and its erasure."""

import tempfile
from collections.abc import Iterator
from dataclasses import asdict
from itertools import chain
from typing import Any, Final

from django.http import FileResponse
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.renderers import JSONRenderer
from rest_framework.request import Request
from rest_framework.response import Response

from accounts.api.clients import ClientSerializer
from accounts.api.members import MemberSerializer
from accounts.http.serializers import AnswerSerializer, StrictSerializer
from accounts.http.viewsets import TenantViewSet
from accounts.models import Client, Membership
from fleet.api.feed_water import FeedWaterSampleViewSet
from fleet.api.findings import FindingViewSet
from fleet.api.forecasts import ForecastViewSet
from fleet.api.instruments import InstrumentViewSet
from fleet.api.placements import PlacementViewSet
from fleet.api.positions import PositionViewSet
from fleet.api.readings import ReadingViewSet
from fleet.api.sites import SiteViewSet
from fleet.api.units import UnitViewSet
from scheduling.api.invoices import InvoiceViewSet
from scheduling.api.messages import MessageViewSet
from scheduling.api.reading_photos import ReadingPhotoViewSet
from scheduling.api.renderers import ZIPRenderer
from scheduling.api.service_records import ServicePhotoViewSet, ServiceRecordViewSet
from scheduling.api.visits import VisitViewSet
from scheduling.exports import words
from scheduling.exports.client_archive import MEDIA_TYPE, write_archive
from scheduling.models import ServicePhoto
from scheduling.services.erasure import erase_client

TABLES: Final[dict[str, type[TenantViewSet]]] = {
    "sites": SiteViewSet,
    "units": UnitViewSet,
    "positions": PositionViewSet,
    "placements": PlacementViewSet,
    "instruments": InstrumentViewSet,
    "feed-water-samples": FeedWaterSampleViewSet,
    "readings": ReadingViewSet,
    "findings": FindingViewSet,
    "forecasts": ForecastViewSet,
    "visits": VisitViewSet,
    "service-records": ServiceRecordViewSet,
    "service-photos": ServicePhotoViewSet,
    "reading-photos": ReadingPhotoViewSet,
    "messages": MessageViewSet,
    "invoices": InvoiceViewSet,
}
"""What an archive holds besides the client itself, by the path of its list: every list that clients read."""

_IN_MEMORY: Final = 5_000_000


class ErasureSerializer(StrictSerializer):
    """Whom to erase."""

    name = serializers.CharField(
        max_length=120, help_text="the client's name as it is stored, to say that you mean this one"
    )


class ErasedSerializer(AnswerSerializer):
    """What was erased."""

    client = serializers.IntegerField(help_text="id of the client, which stays as a number")
    sites = serializers.IntegerField(help_text="sites that lost name, address, way in and place on the map")
    units = serializers.IntegerField(help_text="units that lost their name and are out of use; their history stays")
    people = serializers.IntegerField(help_text="accounts that were deleted")
    pictures = serializers.IntegerField(help_text="pictures and signatures that were deleted")
    letters = serializers.IntegerField(help_text="messages that were deleted")
    invoices = serializers.IntegerField(
        help_text="invoices and credit notes that stay as they were issued, with the client's name: books must be kept"
    )


class ClientDataViewSet(TenantViewSet):
    """Everything that is stored of one client: a client reads their own, the owner any and erases them."""

    resource = "client_data"
    queryset = Client.objects.all()
    serializer_class = ClientSerializer

    @extend_schema(responses={(200, MEDIA_TYPE): OpenApiTypes.BINARY})
    def retrieve(self, request: Request, *args: Any, **kwargs: Any) -> FileResponse:
        """Give everything of the client as one ZIP archive: each list as JSON and as CSV, with the fields that the
        caller reads of it, and the pictures. What happened before the client's time at a site is in it without its
        people."""
        client = self.get_object()
        archive = tempfile.SpooledTemporaryFile(max_size=_IN_MEMORY)  # noqa: SIM115 - the answer closes it
        write_archive(
            archive,
            tables=self._tables(client),
            pictures=chain(
                _pictures(self._rows(ServicePhotoViewSet, client)),
                _pictures(self._rows(ReadingPhotoViewSet, client)),
            ),
            title=words.archive_title(client.name, self.by.company.name, self.by.company.day_at(self.now)),
        )
        archive.seek(0)
        name = f"client-{client.pk}.zip"
        return FileResponse(archive, content_type=MEDIA_TYPE, as_attachment=True, filename=name)

    @extend_schema(request=ErasureSerializer, responses=ErasedSerializer)
    @action(detail=True, methods=["post"])
    def erase(self, request: Request, pk: str) -> Response:
        """Erase who the client is, for good: names, addresses, e-mail, telephone, notes, ways in, signatures, pictures,
        messages, and the accounts of their people. The technical history of their units stays under a number, and the
        units are out of use. Invoices stay as they were issued, since books must be kept. Refused while somebody counts
        on a visit. Give the client the archive first."""
        with self.transaction():
            client = self.locked_object()
            serializer = ErasureSerializer(data=request.data, context=self.get_serializer_context())
            serializer.is_valid(raise_exception=True)
            erased = erase_client(client=client, name=serializer.validated_data["name"], by=self.by, now=self.now)
        answer = {**asdict(erased), "client": client.pk}
        return Response(ErasedSerializer(answer, context=self.get_serializer_context()).data)

    def get_renderers(self) -> list[Any]:
        return [ZIPRenderer(), JSONRenderer()] if self.action == "retrieve" else super().get_renderers()

    def _tables(self, client: Client) -> dict[str, list[Any]]:
        context = self.get_serializer_context()
        people = Membership.objects.filter(client=client).select_related("user")
        return {
            "client": [ClientSerializer(client, context=context).data],
            "people": list(MemberSerializer(people, many=True, context=context).data),
            **{name: self._answers(viewset, client) for name, viewset in TABLES.items()},
        }

    def _rows(self, viewset: type[TenantViewSet], client: Client) -> Any:
        rows = self._list_of(viewset).get_queryset()
        return rows.filter(rows.model.of_client(client.pk)).distinct().order_by("pk")

    def _answers(self, viewset: type[TenantViewSet], client: Client) -> list[Any]:
        view, rows = self._list_of(viewset), list(self._rows(viewset, client))
        answers = list(view.get_serializer(rows, many=True).data)
        # Whoever asks, the archive is the client's: without the people of those who had the unit before or after.
        reader = Membership(company=self.by.company, client=client, role=Membership.Role.CLIENT)
        for row, answer in zip(rows, answers, strict=True):
            for name in row.fields_withheld(reader):
                answer.pop(name, None)
        return answers

    def _list_of(self, viewset: type[TenantViewSet]) -> TenantViewSet:
        """The view of a list, as if the caller had asked for it."""
        view = viewset()
        view.request, view.action, view.format_kwarg, view.kwargs, view.args = self.request, "list", None, {}, ()
        return view


def _pictures(photos: Any) -> Iterator[tuple[str, bytes]]:
    """Pictures that are still where they were put."""
    for photo in photos.iterator(chunk_size=50):
        try:
            with photo.file.open("rb") as stored:
                content = stored.read()
        except FileNotFoundError:
            continue
        kind = photo.kind if isinstance(photo, ServicePhoto) else "reading"
        yield f"{kind}-{photo.pk}.{str(photo.file.name).rpartition('.')[2]}", content
