"""What nobody needs any more."""

from dataclasses import dataclass
from datetime import datetime

from django.db import transaction

from accounts.models import StoredAnswer
from accounts.services.answers import KEPT_FOR, forget_sent
from accounts.services.brakes import forget_tries
from accounts.services.budgets import forget_counts
from accounts.services.letters import forget_letters
from accounts.services.sessions import forget_ended_sessions
from accounts.services.tokens import forget_expired_tokens
from accounts.wall import over_all_companies


@dataclass(frozen=True, slots=True)
class Tidied:
    """How many rows went."""

    tokens: int
    answers: int
    sessions: int
    letters: int


@over_all_companies()
@transaction.atomic
def tidy(*, now: datetime) -> Tidied:
    """Delete long expired tokens, answers past their keeping, ended sessions and old letters, of all. Not audited."""
    answers, _ = StoredAnswer.objects.filter(created_at__lt=now - KEPT_FOR).delete()
    forget_tries(now=now)
    forget_counts(now=now)
    forget_sent(now=now)
    return Tidied(
        tokens=forget_expired_tokens(now=now),
        answers=answers,
        sessions=forget_ended_sessions(now=now),
        letters=forget_letters(now=now),
    )
