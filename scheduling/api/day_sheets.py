"""How a day sheet is answered."""

from rest_framework import serializers

from accounts.http.fields import DayOrMomentField, MomentField
from accounts.http.serializers import StrictSerializer
from fleet.models import Unit
from scheduling.models import Need, Plan, Visit


class ShownSerializer(StrictSerializer):
    """A value with its unit, in the company's system."""

    value = serializers.FloatField()
    unit = serializers.CharField()


class SheetTaskSerializer(StrictSerializer):
    """One thing to do, in order."""

    order = serializers.IntegerField()
    need = serializers.IntegerField()
    state = serializers.ChoiceField(choices=Need.State.choices)
    unit = serializers.IntegerField()
    unit_code = serializers.CharField()
    position = serializers.IntegerField(allow_null=True)
    kind = serializers.ChoiceField(choices=Need.Kind.choices)
    what = serializers.CharField()
    item = serializers.IntegerField(allow_null=True)
    item_code = serializers.CharField(allow_null=True)
    substitutes = serializers.ListField(
        child=serializers.CharField(), help_text="codes of other cartridges on hand that do its work in its place"
    )
    minutes = serializers.IntegerField()
    source = serializers.ChoiceField(  # type: ignore[assignment]
        choices=Need.Source.choices, help_text="what asks for it; a person's reason is quoted"
    )
    reason = serializers.CharField()
    why = serializers.CharField(help_text="what was seen, read or said, without what waiting would cost")


class SheetPlaceSerializer(StrictSerializer):
    """A position of the train and what stands in it."""

    position = serializers.IntegerField()
    order = serializers.IntegerField()
    place = serializers.CharField()
    item_code = serializers.CharField(allow_null=True)
    serial_or_lot = serializers.CharField()
    placed_at = DayOrMomentField(allow_null=True)


class SheetReadingSerializer(StrictSerializer):
    """One quantity as it was read last."""

    quantity = serializers.CharField()
    spoken = serializers.CharField()
    value = ShownSerializer()


class SheetExpectedSerializer(StrictSerializer):
    """One quantity as it should be when the work is done, at the condition of the last reading."""

    quantity = serializers.CharField()
    spoken = serializers.CharField()
    value = ShownSerializer(allow_null=True)
    low = ShownSerializer(allow_null=True)
    high = ShownSerializer(allow_null=True)
    if_not = serializers.CharField(help_text="what to check when it is outside")


class SheetFindingSerializer(StrictSerializer):
    """What the readings say is wrong."""

    finding = serializers.IntegerField()
    title = serializers.CharField(help_text="what it is called in a list")
    sentence = serializers.CharField()
    make_sure = serializers.CharField()
    do = serializers.CharField()
    take_care = serializers.CharField()
    a_reading_settles_it = serializers.BooleanField()


class SheetUnitSerializer(StrictSerializer):
    """A unit of the site."""

    unit = serializers.IntegerField()
    code = serializers.CharField()
    name = serializers.CharField()
    use = serializers.ChoiceField(choices=Unit.Use.choices)
    train = SheetPlaceSerializer(many=True)
    read_at = DayOrMomentField(allow_null=True)
    last_readings = SheetReadingSerializer(many=True)
    expected_readings = SheetExpectedSerializer(many=True)
    findings = SheetFindingSerializer(many=True)


class SheetPartSerializer(StrictSerializer):
    """Pieces a stop takes."""

    item = serializers.IntegerField()
    code = serializers.CharField()
    name = serializers.CharField()
    quantity = serializers.IntegerField()


class SheetLoadSerializer(SheetPartSerializer):
    """Pieces the van takes along."""

    aboard = serializers.IntegerField()
    reserved_elsewhere = serializers.IntegerField(help_text="pieces of those aboard that other visits count on")
    to_load = serializers.IntegerField(help_text="pieces to load from the store")
    missing = serializers.IntegerField(help_text="pieces that are neither aboard nor in the store")


class SheetStopSerializer(StrictSerializer):
    """One stop: when, where, how to get in, what to do."""

    order = serializers.IntegerField()
    stop = serializers.IntegerField()
    visit = serializers.IntegerField()
    state = serializers.ChoiceField(choices=Visit.State.choices)
    is_next = serializers.BooleanField(help_text="whether it is the first stop that is not closed yet")
    is_urgent = serializers.BooleanField()
    appointment_at = MomentField(allow_null=True)
    is_locked = serializers.BooleanField()
    why = serializers.CharField(help_text="why it is on this day, with this installer, in this place of the round")
    lock_reason = serializers.CharField()
    arrives_at = MomentField()
    starts_at = MomentField()
    leaves_at = MomentField()
    driving_minutes = serializers.FloatField()
    driving_km = serializers.FloatField()
    site = serializers.IntegerField()
    site_code = serializers.CharField()
    site_name = serializers.CharField()
    address = serializers.CharField()
    latitude = serializers.FloatField()
    longitude = serializers.FloatField()
    time_zone = serializers.CharField()
    hours = serializers.ListField(child=serializers.CharField(), help_text="when the site is open on this day")
    access_notes = serializers.CharField()
    client_name = serializers.CharField()
    phone = serializers.CharField()
    email = serializers.CharField()
    tasks = SheetTaskSerializer(many=True)
    units = SheetUnitSerializer(many=True)
    parts = SheetPartSerializer(many=True)
    cautions = serializers.ListField(child=serializers.CharField())


class DaySheetSerializer(StrictSerializer):
    """An installer's day on one sheet."""

    round = serializers.IntegerField(source="round.pk")
    plan_state = serializers.ChoiceField(
        choices=Plan.State.choices, source="round.plan.state", help_text="state of its plan; a draft may still change"
    )
    installer = serializers.IntegerField(source="round.installer_id")
    installer_name = serializers.CharField(source="round.installer.name")
    van = serializers.CharField(source="round.installer.van")
    day = serializers.DateField(source="round.day")
    time_zone = serializers.CharField(
        source="zone", help_text="IANA name of the installer's clock; times are sent in UTC"
    )
    leaves_at = MomentField(source="round.leaves_at")
    returns_at = MomentField(source="round.returns_at")
    lunch_at = MomentField(
        source="round.lunch_on_the_way",
        allow_null=True,
        help_text="when the break begins; null where there is none, or it is at home",
    )
    driving_minutes = serializers.FloatField(source="round.driving_minutes")
    driving_km = serializers.FloatField(source="round.driving_km")
    stops = SheetStopSerializer(many=True)
    load = SheetLoadSerializer(many=True)
