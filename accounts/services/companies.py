"""A company as a whole: who changes it takes turns."""

from accounts.models import Company


def lock_company(company_id: int) -> None:
    """Hold a company's row until the transaction ends: whoever else asks for it waits.

    Whatever must not happen twice at once in a company, as finding its needs, planning its rounds or booking its stock,
    takes this lock first, before any row of its own; so two of them can wait for one another, never both.

    Raises
    ------
    TransactionManagementError
        Outside of a transaction.
    Company.DoesNotExist
        When the company is gone.
    """
    Company.objects.select_for_update(no_key=True).get(pk=company_id)
