"""Pictures that come with readings, such as of what a client reports."""

from typing import Any

from django.http import HttpResponse
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.parsers import MultiPartParser
from rest_framework.renderers import JSONRenderer
from rest_framework.request import Request
from rest_framework.response import Response

from accounts.http.fields import TenantRelatedField
from accounts.http.parsers import StrictJSONParser
from accounts.http.serializers import TenantModelSerializer
from accounts.http.viewsets import CreateMixin, ReadOnlyViewSet
from fleet.models import Reading
from scheduling.api.notes import SentSerializer
from scheduling.api.renderers import AnyImageRenderer
from scheduling.api.service_records import answer_picture
from scheduling.models import ReadingPhoto
from scheduling.models.visits import PICTURE_ENDINGS
from scheduling.services.work.reading_photos import add_reading_photo


class ReadingPhotoSerializer(TenantModelSerializer):
    """A picture that came with a reading; the picture itself is at `/reading-photos/<id>/image/`."""

    media_type = serializers.ChoiceField(choices=sorted(PICTURE_ENDINGS), read_only=True)

    class Meta:
        model = ReadingPhoto
        fields = ["id", "reading", "media_type", "size", "width", "height", "digest", "caption", "received_at"]
        read_only_fields = fields


class NewReadingPhotoSerializer(SentSerializer):
    """A picture, and the reading that it belongs to."""

    reading = TenantRelatedField(queryset=Reading.objects.all())
    file = serializers.FileField()
    caption = serializers.CharField(max_length=200, required=False, allow_blank=True, default="")


class ReadingPhotoViewSet(CreateMixin, ReadOnlyViewSet):
    """Pictures that came with readings."""

    resource = "reading_photo"
    queryset = ReadingPhoto.objects.all()
    serializer_class = ReadingPhotoSerializer
    input_serializer_class = NewReadingPhotoSerializer
    filterset_fields = {"reading": ["exact"], "reading__unit": ["exact"]}
    ordering_fields = ["received_at"]
    # A picture comes in a form; whoever sends JSON is told that the file is missing.
    parser_classes = [MultiPartParser, StrictJSONParser]
    audited = False  # the service leaves the entry

    def get_queryset(self) -> Any:
        """Pictures of a reading that was taken back are the company's own business."""
        rows = super().get_queryset()
        by = getattr(self.request, "membership", None)
        return rows.filter(reading__voided_at__isnull=True) if by is not None and by.role == "client" else rows

    @extend_schema(
        request={"multipart/form-data": NewReadingPhotoSerializer},
        responses={201: ReadingPhotoSerializer, 200: ReadingPhotoSerializer},
    )
    def create(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """Add a picture to a reading: JPEG, PNG or WebP, 10 MB at most.

        200 when the same picture came before with the same caption, 409 when it came with another.
        """
        sent = self.valid_input().validated_data
        with self.transaction():
            photo, is_new = add_reading_photo(by=self.by, now=self.now, **sent)
            response = self.answer(self.reread(photo), status=201 if is_new else 200)
        response.headers["Location"] = f"{request.path.rstrip('/')}/{photo.pk}/"
        return response

    @extend_schema(responses={(200, "image/*"): OpenApiTypes.BINARY})
    @action(detail=True, methods=["get"], renderer_classes=[AnyImageRenderer, JSONRenderer])
    def image(self, request: Request, pk: str) -> HttpResponse:
        """Give the picture itself."""
        return answer_picture(self.get_object())
