"""Files of pages travel compressed where a browser takes it, and nothing else does."""

import gzip

import pytest
from django.test import Client

pytestmark = pytest.mark.interface

SHEET = "/static/accounts/page.css"


def _content(response: object) -> bytes:
    return b"".join(response.streaming_content)  # type: ignore[attr-defined]


def test_a_style_sheet_is_compressed_for_whoever_takes_it() -> None:
    plain = Client().get(SHEET)
    small = Client(headers={"Accept-Encoding": "gzip"}).get(SHEET)
    assert "Content-Encoding" not in plain.headers
    assert small.headers["Content-Encoding"] == "gzip"
    assert "Accept-Encoding" in small.headers["Vary"]
    whole, packed = _content(plain), _content(small)
    assert gzip.decompress(packed) == whole
    assert len(packed) < len(whole) / 2


def test_a_part_of_a_file_and_the_interface_stay_as_they_are(db: None) -> None:
    asks = Client(headers={"Accept-Encoding": "gzip"})
    part = asks.get(SHEET, headers={"Range": "bytes=0-9"})
    assert (part.status_code, part.headers.get("Content-Encoding")) == (206, None)
    assert "Content-Encoding" not in asks.get("/api/v1/schema/").headers
