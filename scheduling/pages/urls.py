"""Routes of the pages of the scheduling room."""

from django.urls import path

from scheduling.pages.answer import AnswerPage
from scheduling.pages.calendar import calendar

urlpatterns = [
    path("answer/<str:token>/", AnswerPage.as_view(), name="answer-page"),
    path("calendars/<str:secret>.ics", calendar, name="calendar-page"),
]
