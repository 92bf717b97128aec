"""Tables that are read on a phone, too: `{% load tables %}{% table %}<thead>...<tbody>...{% endtable %}`.

On a wide screen it is a table, which scrolls in itself. On a narrow one `page.css` sets its rows below one another, and
each cell says by itself what its column is called: the words of its head are repeated here, in `data-column`.
"""

import re
from html import unescape
from typing import Any, Final

from django import template
from django.utils.html import escape, strip_tags
from django.utils.safestring import mark_safe

register = template.Library()

_HEAD: Final = re.compile(r"<thead>(.*?)</thead>", re.DOTALL)
_COLUMN: Final = re.compile(r"<th\b[^>]*>(.*?)</th>", re.DOTALL)
_ROW: Final = re.compile(r"<tr\b.*?</tr>", re.DOTALL)
_CELL: Final = re.compile(r"<(td|th)\b")


@register.tag("table")
def table(parser: Any, token: Any) -> template.Node:
    """A table whose cells know what their columns are called."""
    nodes = parser.parse(("endtable",))
    parser.delete_first_token()
    return _TableNode(nodes)


class _TableNode(template.Node):
    def __init__(self, nodes: template.NodeList) -> None:
        self.nodelist = nodes

    def render(self, context: template.Context) -> str:
        inner = self.nodelist.render(context)
        head = _HEAD.search(inner)
        columns = [_column(words) for words in _COLUMN.findall(head[1])] if head else []
        start = head.end() if head else 0
        body = _ROW.sub(lambda row: _named(row[0], columns), inner[start:])
        return mark_safe(f'<div class="table" tabindex="0"><table>{inner[:start]}{body}</table></div>')


def _column(words: str) -> str:
    """What a column is called; nothing where its head is for screen readers alone, since what stands there says it."""
    return "" if 'class="unseen"' in words else " ".join(unescape(strip_tags(words)).split())


def _named(row: str, columns: list[str]) -> str:
    """A row whose cells have the names of their columns; a row's own head needs none."""
    places = iter(range(len(columns)))

    def name(cell: re.Match[str]) -> str:
        place = next(places, None)
        if cell[1] == "th" or place is None or not columns[place]:
            return cell[0]
        return f'{cell[0]} data-column="{escape(columns[place])}"'

    return _CELL.sub(name, row)
