"""The address of the server alone: people come to the door, programs to the list of what there is."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.views import View


class FrontView(View):
    """`/`: a browser is led to the sign-in, which leads on whoever is signed in, and anything else to `/api/v1/`."""

    def get(self, request: HttpRequest) -> HttpResponse:
        """Lead there; which of the two rests on the header Accept."""
        answer = redirect("sign-in" if "text/html" in request.headers.get("Accept", "") else "index")
        answer.headers["Vary"] = "Accept"
        return answer
