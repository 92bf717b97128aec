"""A table of a page: each cell says what its column is called."""

import pytest
from django.template import Context, Template

pytestmark = pytest.mark.interface


def shown(inside: str, **context: object) -> str:
    return Template("{% load tables %}{% table %}" + inside + "{% endtable %}").render(Context(context))


def test_cells_repeat_the_words_of_their_heads_and_the_head_of_a_row_does_not() -> None:
    text = shown(
        '<thead><tr><th scope="col">Unit</th><th scope="col" class="number">Left <b>now</b></th>'
        '<th scope="col"><span class="unseen">Take it back</span></th></tr></thead>'
        '<tbody>{% for row in rows %}<tr><th scope="row">{{ row.0 }}</th>'
        '<td class="number">{{ row.1 }}</td><td>x</td></tr>{% endfor %}</tbody>',
        rows=[("U1", 3), ("U2", 4)],
    )
    assert text.startswith('<div class="table" tabindex="0"><table><thead>')
    assert text.count('<td data-column="Left now" class="number">') == 2
    assert text.count('<th scope="row">') == 2
    # a head for screen readers alone: what stands there says it
    assert text.count("<td>x</td>") == 2


def test_words_of_a_head_are_written_as_text_and_a_row_longer_than_the_head_is_left_as_it_is() -> None:
    text = shown('<thead><tr><th>A &lt; "B"</th></tr></thead><tbody><tr><td>1</td><td>2</td></tr></tbody>')
    assert '<td data-column="A &lt; &quot;B&quot;">1</td><td>2</td>' in text


def test_a_table_without_a_head_is_left_as_it_is() -> None:
    assert shown("<tbody><tr><td>1</td></tr></tbody>") == (
        '<div class="table" tabindex="0"><table><tbody><tr><td>1</td></tr></tbody></table></div>'
    )
