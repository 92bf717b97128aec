"""What is moved between store and van before a round, over the API."""

from rest_framework import serializers

from accounts.http.serializers import StrictSerializer
from scheduling.api.notes import SentSerializer


class LoadLineSerializer(StrictSerializer):
    """Pieces of one item that are moved."""

    item = serializers.IntegerField()
    code = serializers.CharField()
    name = serializers.CharField()
    shelf = serializers.CharField(help_text="where it lies in the store; empty: nobody has said")
    pieces = serializers.IntegerField(help_text="how many pieces are moved")
    spare = serializers.IntegerField(help_text="pieces of them that no visit plans for")
    expired = serializers.IntegerField(help_text="pieces of them that may not be used any more")
    sentence = serializers.CharField()


class VanLoadSerializer(StrictSerializer):
    """The load of a round, shelf by shelf."""

    round = serializers.IntegerField(source="round.pk", help_text="id of the round")
    day = serializers.DateField(source="round.day")
    installer = serializers.IntegerField(source="round.installer_id")
    installer_name = serializers.CharField(source="round.installer.name")
    version = serializers.CharField(help_text="mark of what it says; sent back when it was carried out")
    to_van = LoadLineSerializer(many=True, help_text="out of the store and into the van")
    to_store = LoadLineSerializer(many=True, help_text="out of the van and into the store")


class LoadedSerializer(SentSerializer):
    """Which load was carried out."""

    version = serializers.CharField(max_length=64, help_text="version of the load as it was read")
