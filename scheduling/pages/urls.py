"""Routes of the pages of the scheduling room."""

from django.urls import path

from scheduling.pages.answer import AnswerPage

urlpatterns = [
    path("answer/<str:token>/", AnswerPage.as_view(), name="answer-page"),
]
