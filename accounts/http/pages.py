"""What all pages for people without an account have in common."""

from typing import Final

# A page has no script, and its address must not reach anybody else: whoever has it may act by it.
PAGE_HEADERS: Final = {
    "Content-Security-Policy": "default-src 'none'; style-src 'self'; img-src 'self'; form-action 'self'; "
    "base-uri 'none'; frame-ancestors 'none'",
    "Referrer-Policy": "same-origin",
    "X-Robots-Tag": "noindex",
}
