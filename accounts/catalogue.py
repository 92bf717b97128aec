"""Every text that a translation needs, taken from the source: a template in the PO format of GNU gettext. No Django.

A translator copies the template to `LANGUAGE/LC_MESSAGES/people.po` in `LOCALE_DIR`, writes the translations, and
compiles it to the `people.mo` beside it.
"""

from collections.abc import Iterable
from io import BytesIO
from pathlib import Path
from typing import Final

from babel.messages.catalog import Catalog
from babel.messages.extract import extract_from_dir
from babel.messages.pofile import write_po

from accounts.template_texts import texts_of_templates

_CALLS: Final = {"gettext": None, "gettext_noop": None, "_": None, "ngettext": (1, 2)}
_HEAD: Final = 'msgid ""\nmsgstr ""\n"Content-Type: text/plain; charset=UTF-8\\n"\n"Plural-Forms: \\n"\n\n'


def texts_of(root: Path, packages: Iterable[str]) -> Catalog:
    """Every text of some packages under a folder that passes through the language module, with its places.

    A text that stands once with a plural form and once without is one entry, with it.
    """
    texts = Catalog()
    for package in packages:
        for name, line, text, *_ in extract_from_dir(root / package, [("**.py", "python")], keywords=_CALLS):
            texts.add(text, locations=[(f"{package}/{name}", line)])
        for name, line, text in texts_of_templates(root, package):
            texts.add(text, locations=[(name, line)])
    return texts


def template(texts: Catalog) -> str:
    """The template: every text once, with its places, and room for its translation."""
    written = BytesIO()
    write_po(written, texts, width=0, omit_header=True)
    return _HEAD + written.getvalue().decode()
