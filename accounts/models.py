"""Companies, the people who act for them, how they come in, their clients, and the trail of what was done."""

from datetime import date, datetime
from typing import ClassVar
from zoneinfo import ZoneInfo

from django.contrib.auth.models import AbstractUser
from django.db import models
from django.db.models import Q
from knox.models import AbstractAuthToken

from accounts.retirable import Retirable
from accounts.tenancy import Known, TenantModel
from accounts.validation import check_currency, check_time_zone


class User(AbstractUser):
    """A person who can sign in; what they may do hangs on their memberships, not on this row."""

    email = models.EmailField(unique=True)
    email_proven_at = models.DateTimeField(
        null=True, blank=True, help_text="when its owner followed a link sent there and chose the password; else empty"
    )


class Company(TenantModel):
    """A service company: the tenant that owns every other row."""

    TRAILED = True

    # Clients see the company they are clients of: it has one path to every member, its own key.
    TENANT_PATH = "pk"
    CLIENT_PATH = "clients"

    class UnitSystem(models.TextChoices):
        METRIC = "metric", "metric"
        US = "us", "US"

    class InstallersSee(models.TextChoices):
        THEIR_DAYS = "their_days", "clients of their visits and rounds, a week before and after"
        ALL = "all", "all clients"

    name = models.CharField(max_length=120)
    currency = models.CharField(
        max_length=3, default="EUR", validators=[check_currency], help_text="ISO 4217 code of all prices"
    )
    time_zone = models.CharField(
        max_length=64,
        validators=[check_time_zone],
        help_text="IANA name; the working day of the office is in it, new sites and installers without one take it",
    )
    unit_system = models.CharField(max_length=6, choices=UnitSystem, default=UnitSystem.METRIC)
    phone = models.CharField(max_length=40, blank=True, help_text="where clients call; it stands under every letter")
    email = models.EmailField(blank=True, help_text="where clients write; it stands under every letter")
    address = models.CharField(max_length=300, blank=True, help_text="it stands under every letter to a client")
    tax_number = models.CharField(
        max_length=40, blank=True, help_text="number by which the tax office knows it; it stands on every invoice"
    )
    second_factor_roles = models.JSONField(
        default=list, blank=True, help_text="roles whose members sign in with a code beside their password"
    )
    installers_see = models.CharField(
        max_length=10,
        choices=InstallersSee,
        default=InstallersSee.THEIR_DAYS,
        help_text="of which clients installers read names, numbers, messages and how to get in",
    )
    created_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        verbose_name_plural = "companies"
        ordering = ["name", "pk"]

    @property
    def zone(self) -> ZoneInfo:
        """The time zone of its office."""
        return ZoneInfo(self.time_zone)

    def day_at(self, moment: datetime) -> date:
        """The calendar day of its office at a moment."""
        return moment.astimezone(self.zone).date()

    def __str__(self) -> str:
        return self.name


class Client(Retirable):
    """A customer of the company, at one or more sites."""

    TRAILED = True
    OF_PEOPLE = True
    RETIRED_BEFORE = ("sites",)
    CLIENT_PATH = "pk"
    NAMED_BY = "name"

    company = models.ForeignKey(Company, on_delete=models.CASCADE, related_name="clients")
    name = models.CharField(max_length=120)
    email = models.EmailField(blank=True)
    phone = models.CharField(max_length=40, blank=True)
    notes = models.TextField(blank=True)
    created_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["name", "pk"]
        constraints: ClassVar = [models.UniqueConstraint(fields=["company", "name"], name="one_client_of_a_name")]

    def __str__(self) -> str:
        return self.name


class Membership(TenantModel):
    """A person's place in a company: every request acts for exactly one."""

    TRAILED = True
    NAMED_BY = "user__email"

    # Not a column: the door sets it on the object when the request came with a meter's token, and both the table of
    # permissions and `visible_to` narrow what the membership may do to that unit.
    meter_unit_id: int | None = None
    # Nor is this one: what the token of a request may do of what the role may; None: all of it.
    scopes: frozenset[str] | None = None
    # When the person last proved who they are, as the session or token of a request has it, and whether by a code too.
    authenticated_at: datetime | None = None
    has_given_code: bool = False
    # Of an installer: what they work with these days, once somebody asked (`accounts.tenancy.known_to`).
    known: Known | None = None

    class Role(models.TextChoices):
        OWNER = "owner", "owner"
        OFFICE = "office", "office"
        INSTALLER = "installer", "installer"
        CLIENT = "client", "client"

    user = models.ForeignKey(User, on_delete=models.CASCADE, related_name="memberships")
    company = models.ForeignKey(Company, on_delete=models.CASCADE, related_name="memberships")
    name = models.CharField(max_length=120, blank=True, help_text="of the person, as this company writes it")
    role = models.CharField(max_length=10, choices=Role)
    # A client whose people can sign in is not deleted by the way.
    client = models.ForeignKey(Client, on_delete=models.RESTRICT, null=True, blank=True, related_name="memberships")
    is_active = models.BooleanField(default=True)
    gets_digest = models.BooleanField(
        default=True, help_text="owner and office: a letter each morning about what needs attention"
    )
    created_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["company_id", "pk"]
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["user", "company"], name="one_membership_per_company"),
            models.CheckConstraint(
                condition=(Q(role="client") & Q(client__isnull=False)) | (~Q(role="client") & Q(client__isnull=True)),
                name="a_client_membership_names_its_client",
            ),
        ]

    @property
    def lacks_second_factor(self) -> bool:
        """Whether the company wants a code of its role and none was given at the sign-in; meters need none."""
        if self.has_given_code or self.meter_unit_id is not None or self.company_id is None:
            return False
        return self.role in self.company.second_factor_roles

    def __str__(self) -> str:
        return f"{self.name or self.user.email} ({self.role} at {self.company})"


class SecondFactor(models.Model):
    """What makes the codes of a person beside their password: a key that an authenticator on their phone keeps."""

    user = models.OneToOneField(User, on_delete=models.CASCADE, related_name="second_factor")
    key = models.CharField(max_length=64, blank=True, help_text="in hexadecimal; empty until the first code was right")
    next_key = models.CharField(max_length=64, blank=True, help_text="takes the place of the key with its first code")
    begun_at = models.DateTimeField()
    confirmed_at = models.DateTimeField(null=True, blank=True)
    last_step = models.BigIntegerField(default=-1, help_text="step of time of the last code: none is taken twice")
    drift = models.SmallIntegerField(default=0, help_text="steps by which the clock of the phone differs")

    def __str__(self) -> str:
        return f"second factor of {self.user}"

    @property
    def is_confirmed(self) -> bool:
        """Whether its first code was given: until then the person signs in without."""
        return self.confirmed_at is not None

    @classmethod
    def is_of(cls, user: User) -> bool:
        """Whether a person signs in with a code."""
        return cls.objects.filter(user=user, confirmed_at__isnull=False).exists()


class RecoveryCode(models.Model):
    """A code that stands in once for the authenticator that was lost; only a keyed digest is stored."""

    factor = models.ForeignKey(SecondFactor, on_delete=models.CASCADE, related_name="recovery_codes")
    digest = models.CharField(max_length=64, unique=True)
    used_at = models.DateTimeField(null=True, blank=True)

    def __str__(self) -> str:
        return f"recovery code {self.pk}"


class Invitation(TenantModel):
    """A place in a company that is offered to whoever reads the mail of an address."""

    TRAILED = True

    company = models.ForeignKey(Company, on_delete=models.CASCADE, related_name="invitations")
    email = models.EmailField()
    name = models.CharField(max_length=120, blank=True, help_text="of the person, as this company writes it")
    role = models.CharField(max_length=10, choices=Membership.Role)
    client = models.ForeignKey(Client, on_delete=models.CASCADE, null=True, blank=True, related_name="invitations")
    invited_by = models.ForeignKey(
        Membership, on_delete=models.SET_NULL, null=True, related_name="+", help_text="the owner whose word it is"
    )
    created_at = models.DateTimeField()
    expires_at = models.DateTimeField()
    accepted_at = models.DateTimeField(null=True, blank=True)
    withdrawn_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["-created_at", "-pk"]
        constraints: ClassVar = [
            models.UniqueConstraint(
                fields=["company", "email"],
                condition=Q(accepted_at=None, withdrawn_at=None),
                name="one_open_invitation_of_an_address",
            )
        ]

    def is_open(self, now: datetime) -> bool:
        """Whether it can still be accepted; not once the owner who gave their word for it owns the company no more."""
        inviter = self.invited_by
        is_answered = self.accepted_at is not None or self.withdrawn_at is not None
        stands = inviter is not None and inviter.is_active and inviter.role == Membership.Role.OWNER
        return stands and not is_answered and now < self.expires_at

    def __str__(self) -> str:
        return self.email


class Letter(models.Model):
    """An e-mail about getting in that waits to be sent; what it says, links included, is written when it leaves.

    Nothing secret is stored or queued, and asking for one takes the same work whether or not an address is known.
    """

    class Kind(models.TextChoices):
        INVITATION = "invitation", "invitation"
        PASSWORD_RESET = "password_reset", "password reset"
        PASSWORD_CHANGED = "password_changed", "password changed"
        NEW_ADDRESS = "new_address", "new address"
        ADDRESS_CHANGED = "address_changed", "address changed"
        SIGN_IN = "sign_in", "sign in"
        SECOND_FACTOR_SET = "codes_set_up", "codes set up"
        SECOND_FACTOR_REMOVED = "codes_removed", "codes removed"
        WEBHOOK_OFF = "webhook_off", "webhook endpoint switched off"

    kind = models.CharField(max_length=20, choices=Kind)
    email = models.EmailField()
    user = models.ForeignKey(User, on_delete=models.CASCADE, null=True, blank=True, related_name="+")
    invitation = models.ForeignKey(Invitation, on_delete=models.CASCADE, null=True, blank=True, related_name="letters")
    endpoint = models.ForeignKey(
        "webhooks.WebhookEndpoint", on_delete=models.CASCADE, null=True, blank=True, related_name="letters"
    )
    written_at = models.DateTimeField()
    attempts = models.PositiveSmallIntegerField(default=0)
    next_attempt_at = models.DateTimeField()
    sent_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["pk"]
        indexes: ClassVar = [models.Index(fields=["email", "sent_at"], name="letters_by_address")]

    def __str__(self) -> str:
        return f"{self.kind} to {self.email}"


class AccessToken(TenantModel, AbstractAuthToken):
    """A key for a program or a phone: stored hashed, it expires, can be revoked, and acts for one membership.

    A token with `meter_unit_id` belongs to a logging meter: it can post readings of that unit and nothing else.
    """

    TENANT_PATH = "membership__company_id"
    CLIENT_PATH = "membership__client_id"

    class Scope(models.TextChoices):
        READ = "read", "read"
        READINGS = "readings", "readings"
        WORK = "work", "work"
        OFFICE = "office", "office"

    # The library makes the hash the key of the row; here it has a number, so that addresses hold no hash.
    digest = models.CharField(max_length=128, unique=True)
    user = models.ForeignKey(User, on_delete=models.CASCADE, related_name="auth_token_set")
    membership = models.ForeignKey(Membership, on_delete=models.CASCADE, related_name="tokens")
    name = models.CharField(max_length=80, blank=True, help_text="what the token is for")
    meter_unit_id = models.PositiveBigIntegerField(null=True, blank=True)
    scopes = models.JSONField(null=True, blank=True, help_text="null: whatever the member's role may do")
    authenticated_at = models.DateTimeField(
        null=True, blank=True, help_text="when its person last gave their password or a code for it"
    )
    has_given_code = models.BooleanField(default=False, help_text="whether it was made by a sign-in with a code")
    last_used_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["-created", "-pk"]

    def __str__(self) -> str:
        return self.name or f"token {self.pk}"


class BrowserSession(TenantModel):
    """A browser that is signed in for a membership, so that people can see where they are, and end it."""

    TENANT_PATH = "membership__company_id"
    CLIENT_PATH = "membership__client_id"

    membership = models.ForeignKey(Membership, on_delete=models.CASCADE, related_name="browser_sessions")
    session_key = models.CharField(max_length=40, unique=True)
    device = models.CharField(max_length=200, blank=True, help_text="what the browser says of itself")
    signed_in_at = models.DateTimeField()
    last_used_at = models.DateTimeField()

    class Meta:
        ordering = ["-signed_in_at", "-pk"]

    def __str__(self) -> str:
        return self.device or f"session {self.pk}"


class TryCount(models.Model):
    """How often something was tried in vain; who and where stand in no row, only a keyed digest of both."""

    key = models.CharField(max_length=64, unique=True)
    tries = models.PositiveIntegerField(default=0)
    last_at = models.DateTimeField()
    closed_until = models.DateTimeField(null=True, blank=True)

    def __str__(self) -> str:
        return f"{self.tries} tries"


class KnownPlace(models.Model):
    """A network address from which somebody has signed in; a keyed digest of both."""

    key = models.CharField(max_length=64, unique=True)
    last_at = models.DateTimeField()

    def __str__(self) -> str:
        return f"place {self.pk}"


class RequestCount(models.Model):
    """How many requests of a minute were given to a caller; who that is stands in no row, only a keyed digest."""

    key = models.CharField(max_length=64, unique=True)
    window = models.BigIntegerField(help_text="minutes since 1970")
    handed_out = models.PositiveIntegerField(default=0)
    counted_at = models.DateTimeField()

    def __str__(self) -> str:
        return f"{self.handed_out} requests"


class SentWithoutKey(models.Model):
    """How often the very same was posted by a member without an Idempotency-Key; a digest of who and what."""

    key = models.CharField(max_length=64, unique=True)
    times = models.PositiveIntegerField(default=0)
    first_at = models.DateTimeField()

    def __str__(self) -> str:
        return f"{self.times} times"


class AuditEntry(TenantModel):
    """Who changed what, and when; never edited, never deleted with the row it speaks of."""

    company = models.ForeignKey(Company, on_delete=models.CASCADE, related_name="audit_entries")
    membership = models.ForeignKey(Membership, on_delete=models.SET_NULL, null=True, blank=True)
    at = models.DateTimeField()
    action = models.CharField(max_length=60, help_text="verb and noun, such as 'issue token'")
    subject_kind = models.CharField(max_length=60)
    subject_id = models.CharField(max_length=60)
    subject_name = models.CharField(max_length=200, blank=True, help_text="what people called it then")
    details = models.JSONField(default=dict, blank=True)

    class Meta:
        ordering = ["-at", "-pk"]
        verbose_name_plural = "audit entries"
        indexes: ClassVar = [models.Index(fields=["company", "subject_kind", "subject_id"], name="audit_by_subject")]

    def __str__(self) -> str:
        return f"{self.action} {self.subject_kind} {self.subject_id}"


class StoredAnswer(TenantModel):
    """The answer to a POST that carried an Idempotency-Key, kept so that a retry does nothing twice."""

    company = models.ForeignKey(Company, on_delete=models.CASCADE, related_name="+")
    membership = models.ForeignKey(Membership, on_delete=models.CASCADE, related_name="+")
    caller = models.CharField(
        max_length=40, default="member", help_text="a meter has its own keys, whoever made its token"
    )
    key = models.CharField(max_length=200)
    route = models.CharField(max_length=200)
    body_digest = models.CharField(max_length=64)
    status = models.PositiveSmallIntegerField(null=True, blank=True, help_text="empty while the first call runs")
    headers = models.JSONField(default=dict, blank=True)
    body = models.BinaryField(default=b"", blank=True)
    created_at = models.DateTimeField()
    claimed_until = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["membership", "caller", "key"], name="one_answer_per_key")
        ]

    def __str__(self) -> str:
        return f"{self.route} {self.key}"
