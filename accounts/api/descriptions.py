"""What the fields of this room are that do not say so themselves; see `accounts.http.descriptions`."""

from collections.abc import Mapping
from typing import Final

from accounts.http.descriptions import hook_of

DESCRIPTIONS: Final[Mapping[str, str]] = {
    "at": "when it was done",
    "client": "id of the client for whom a person with the role 'client' acts; null with every other role",
    "company": "the company it belongs to",
    "created_at": "when it was stored",
    "current_password": "the password you have signed in with until now",
    "email": "address of the person, who signs in with it",
    "expires_at": "from when on the token is refused",
    "finished_at": "when it ended, however it ended; null before",
    "id": "number of the row; it never changes",
    "is_active": "whether the person still gets in; who left stays for the records",
    "last_used_at": "when it was last sent with a request; null while it never was",
    "membership": "id of the membership, a person in a company, that it acts for",
    "name": "what people call it",
    "new_password": "the password to sign in with from now on",
    "notes": "free text for the company's own people",
    "parameters": "what it was asked for, by name",
    "password": "as the person chose it, blanks at its ends included",
    "phone": "number to call",
    "role": "what the person may do",
    "started_at": "when its work began; null before",
    "stop_requested": "whether somebody asked it to stop; it does so at its next report",
    "AuditEntry.membership": "id of the membership that did it; null when it is gone",
    "AuditEntry.subject_id": "id of the row it was done to",
    "AuditEntry.subject_kind": "kind of the row it was done to",
    "ChangedMember.name": "name of the person, as colleagues know it",
    "Client.email": "address for messages; empty: the office calls",
    "Company.name": "name of the company",
    "Dependant.id": "its id",
    "Dependant.kind": "what it is, in the singular",
    "Dependant.name": "how it is known to people",
    "Job.created_at": "when it was asked for",
    "Job.doing": "what it is at, in words",
    "Job.kind": "which work it does",
    "Job.result": "what came of it, by name; null until it is done",
    "Job.state": "how far it is",
    "JobProblem.code": "what happened, for a program",
    "JobProblem.sentence": "what happened, for a person",
    "MyCompany.name": "name of the company",
    "MyCompany.unit_system": "the system quantities are answered in when the caller does not choose",
    "NewMember.name": "name of the person, as colleagues know it",
    "Problem.status": "status of the HTTP answer",
    "Problem.title": "kind of the problem, in a few words",
    "ProblemKind.kind": "last step of the address in `type`",
    "ProblemKind.meaning": "what it means and what to do, in a sentence",
    "ProblemKind.status": "status of the HTTP answer",
}

describe_fields = hook_of("accounts", DESCRIPTIONS)
