"""Forms of pages: they carry what was typed to the API and show its refusals, field by field."""

from collections.abc import Mapping
from datetime import date, datetime
from typing import Any, ClassVar

from django import forms


class PageForm(forms.Form):
    """A form without rules of its own: nothing is required here, since the services say what is missing.

    `POINTERS` names fields whose name in the API is another: {"day": "/opens_on"}.
    """

    POINTERS: ClassVar[Mapping[str, str]] = {}
    use_required_attribute = False

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        # A colon after a label is a matter of the language, and of the template.
        kwargs.setdefault("label_suffix", "")
        super().__init__(*args, **kwargs)
        for field in self.fields.values():
            field.required = False

    def sent(self) -> dict[str, Any]:
        """What was filled in, as the API takes it; empty fields are left out. Call it on a form with data."""
        self.full_clean()
        return {name: _as_json(value) for name, value in self.cleaned_data.items() if value not in (None, "", [])}

    def refuse(self, problem: Any) -> "PageForm":
        """Put the faults of a problem of the API beside their fields; the others stand above the form."""
        if not self.is_bound:
            return self
        self.full_clean()
        faults = list(problem.get("errors") or []) if isinstance(problem, Mapping) else []
        places = {pointer: name for name, pointer in self.POINTERS.items()}
        for fault in faults:
            pointer = str(fault.get("pointer", ""))
            name = places.get(pointer) or pointer.split("/")[1:2]
            name = name if isinstance(name, str) else (name[0] if name else "")
            self.add_error(name if name in self.fields else None, str(fault["detail"]))
        if not faults:
            self.add_error(None, str(problem.get("detail", "")) if isinstance(problem, Mapping) else str(problem))
        return self


def row_id(text: str) -> int | None:
    """The id that an address or a form names; None where it is none. Figures of other scripts are no ids here."""
    return int(text) if text.isascii() and text.isdigit() and len(text) < 19 else None


def _as_json(value: Any) -> Any:
    return value.isoformat() if isinstance(value, date | datetime) else value
