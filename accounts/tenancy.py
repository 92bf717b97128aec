"""Whose rows are whose: the one door through which tenant data is read."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, ClassVar, Self

from django.db import models

if TYPE_CHECKING:
    from accounts.models import Membership


@dataclass(frozen=True, slots=True)
class Known:
    """What an installer works with these days: ids of clients, of their sites, and of the installer's own rounds."""

    client_ids: frozenset[int] = frozenset()
    site_ids: frozenset[int] = frozenset()
    round_ids: frozenset[int] = frozenset()


_sources: list[Callable[["Membership"], Known]] = []


def know_with(source: Callable[["Membership"], Known]) -> None:
    """Have a room that knows of rounds say what an installer works with; this one knows of none."""
    _sources[:] = [source]


def known_to(membership: "Membership | None") -> Known | None:
    """What an installer may know of clients and their doors; None for whoever may know all that the company knows.

    Looked up once for each membership object, which is once a request.
    """
    if membership is None or membership.role != membership.Role.INSTALLER:
        return None
    if membership.company.installers_see == membership.company.InstallersSee.ALL:
        return None
    if membership.known is None:
        membership.known = _sources[0](membership) if _sources else Known()
    return membership.known


class TenantQuerySet(models.QuerySet[Any]):
    """Rows of tenant models; `visible_to` is the only way a request may reach them."""

    def visible_to(self, membership: "Membership | None") -> Self:
        """Narrow to what this membership may see.

        A stranger, or a membership that was ended, sees nothing. Owner, office and installer see their company's rows.
        A client sees the rows that are theirs by `of_client`, and nothing of a model without a `CLIENT_PATH`.
        An installer sees of some models what has to do with the clients of these days alone (`known_to`).
        A membership that acts through a meter's token sees the rows of that meter's unit, and nothing of a model
        without a `UNIT_PATH`.
        """
        if membership is None or not membership.is_active:
            return self.none()
        rows = self.filter(**{self.model.TENANT_PATH: membership.company_id})
        if membership.meter_unit_id is not None:
            if self.model.UNIT_PATH is None:
                return self.none()
            rows = rows.filter(**{self.model.UNIT_PATH: membership.meter_unit_id})
        if membership.role != membership.Role.CLIENT:
            known = known_to(membership) if self.model.OF_PEOPLE else None
            return rows if known is None else rows.filter(self.model.of_known(known))
        if self.model.CLIENT_PATH is None or membership.client_id is None:
            return self.none()
        return rows.filter(self.model.of_client(membership.client_id))

    def of_company(self, company: models.Model) -> Self:
        """Narrow to one company's rows; for jobs and services that act for the company itself."""
        return self.filter(**{self.model.TENANT_PATH: company.pk})


class TenantModel(models.Model):
    """A row that belongs to one company.

    `TENANT_PATH` is the look-up from the row to its company's id, `CLIENT_PATH` the look-up to the id of the client who
    may see it; None hides the model from clients altogether. `UNIT_PATH` is the look-up to the id of the unit whose
    meter may use the row when it posts a reading; None, the rule, hides the model from meters. `NAMED_BY` is the
    look-up of the code or name that people call a row by, unique in its company; None, the rule: only its id names it.
    """

    as_stored: dict[str, Any]

    TENANT_PATH: ClassVar[str] = "company_id"
    CLIENT_PATH: ClassVar[str | None] = None
    UNIT_PATH: ClassVar[str | None] = None
    NAMED_BY: ClassVar[str | None] = None
    # Whether rows tell of a client's people, so that installers see those of the clients of these days alone.
    OF_PEOPLE: ClassVar[bool] = False

    # Whether the trail tells the old and new value of each column that changes, and of which it tells only that it did.
    TRAILED: ClassVar[bool] = False
    UNTOLD: ClassVar[frozenset[str]] = frozenset()

    objects = TenantQuerySet.as_manager()

    class Meta:
        abstract = True

    @classmethod
    def from_db(cls, *args: Any, **kwargs: Any) -> Self:
        """Keep what was stored beside a row whose changes the trail tells."""
        row = super().from_db(*args, **kwargs)
        if cls.TRAILED:
            row.as_stored = {name: value for name, value in vars(row).items() if name != "_state"}
        return row

    @classmethod
    def of_client(cls, client_id: int) -> models.Q:
        """Condition on the rows that one client may see; for models with a `CLIENT_PATH` alone."""
        return models.Q(**{str(cls.CLIENT_PATH): client_id})

    @classmethod
    def of_known(cls, known: Known) -> models.Q:
        """Condition on the rows that an installer sees who knows of so much; for models `OF_PEOPLE` alone."""
        return models.Q(**{f"{cls.CLIENT_PATH}__in": known.client_ids})

    def fields_withheld(self, membership: "Membership | None") -> frozenset[str]:
        """Name the fields of a row in sight that are nevertheless none of this member's business; none, as a rule."""
        return frozenset()

    @classmethod
    def named(cls, text: str) -> models.Q | None:
        """Condition on the rows that people may mean by a text, whatever its case; None where only an id names one."""
        return models.Q(**{f"{cls.NAMED_BY}__iexact": text}) if cls.NAMED_BY else None

    @property
    def spoken_name(self) -> str:
        """What people call the row: the text by which it is found."""
        value: Any = self
        for part in (self.NAMED_BY or "pk").split("__"):
            value = getattr(value, part)
        return str(value)

    @property
    def trail_name(self) -> str:
        """How the trail calls the row. What belongs to a thing that people name begins with its name and a comma, so
        that it is found where somebody looks for the thing."""
        name = self.spoken_name
        return name if name != str(self.pk) else str(self)
