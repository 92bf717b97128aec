"""The words of the trade and of the pages, in plain language."""

from django.http import HttpRequest, HttpResponse

from accounts.pages.page import Page


class WordsPage(Page):
    """What the words mean; a page beside a word leads to its place here."""

    template_name = "scheduling/words.html"
    rights = {"get": ("me", "retrieve")}

    def get(self, request: HttpRequest) -> HttpResponse:
        """The list of words, the same for everybody."""
        return self.show()
