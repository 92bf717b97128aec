"""Routes of the pages of the scheduling room."""

from django.urls import include, path

from scheduling.pages.answer import AnswerPage
from scheduling.pages.calendar import calendar
from scheduling.pages.my_day.pages import MyDayPage, RoundDayPage, StopPage
from scheduling.pages.my_day.scripts import ENTRIES, script
from scheduling.pages.my_day.worker import worker
from scheduling.pages.my_water.files import ArchiveFile, ArchivePage, ReadingsFile, WaterFile
from scheduling.pages.my_water.reading_page import FaultPage, ReadingPage
from scheduling.pages.my_water.unit_page import MyWaterPage, PlotPage, UnitPage
from scheduling.pages.my_water.visit_page import VisitPage
from scheduling.pages.words import WordsPage

urlpatterns = [
    path("answer/<str:token>/", AnswerPage.as_view(), name="answer-page"),
    path("calendars/<str:secret>.ics", calendar, name="calendar-page"),
    path("my-water/", MyWaterPage.as_view(), name="my-water"),
    path("my-water/archive/", ArchivePage.as_view(), name="my-water-archive"),
    path("my-water/archive.zip", ArchiveFile.as_view(), name="my-water-archive-file"),
    path("my-water/<int:unit>/", UnitPage.as_view(), name="my-water-unit"),
    path("my-water/<int:unit>/fault/", FaultPage.as_view(), name="my-water-fault"),
    path("my-water/<int:unit>/plot.svg", PlotPage.as_view(), name="my-water-plot"),
    path("my-water/<int:unit>/reading/", ReadingPage.as_view(), name="my-water-reading"),
    path("my-water/<int:unit>/readings.csv", ReadingsFile.as_view(), name="my-water-csv"),
    path("my-water/<int:unit>/water.pdf", WaterFile.as_view(), name="my-water-pdf"),
    path("my-water/visits/<int:visit>/", VisitPage.as_view(), name="my-water-visit"),
    path("words/", WordsPage.as_view(), name="words"),
    path("", include("scheduling.pages.office.urls")),
    path("my-day/", MyDayPage.as_view(), name="my-day"),
    path("my-day/rounds/<int:round>/", RoundDayPage.as_view(), name="my-day-round"),
    path("my-day/stops/<int:stop>/", StopPage.as_view(), name="my-day-stop"),
    path("my-day/worker.js", worker, name="my-day-worker"),
    *(path(f"my-day/{name}.js", script, {"name": name}, name=f"my-day-script-{name}") for name in ENTRIES),
]
