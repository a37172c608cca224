"""The application factory: the record, the pages and the HTTP API behind one doorkeeper."""

from __future__ import annotations

from importlib.resources import files
from pathlib import Path

from fastapi import FastAPI
from starlette.middleware import Middleware
from starlette.middleware.gzip import GZipMiddleware
from starlette.staticfiles import StaticFiles

from roomfield.web import faults
from roomfield.web.access_code import Gate
from roomfield.web.api import ROUTERS as API_ROUTERS
from roomfield.web.long_work import LongWorks
from roomfield.web.pages import ROUTERS as PAGE_ROUTERS
from roomfield.web.security_middleware import Guard
from roomfield.web.settings import Settings
from roomfield.workbench.first_compile import FirstCompile
from roomfield.workbench.plan.hypothetical_changes import BenchShelf
from roomfield.workbench.practice.practice_scan import PracticeScans
from roomfield.workbench.record import demo_tour
from roomfield.workbench.record.night_desk import NightDesk
from roomfield.workbench.record.survey_list import Records, open_records

DESCRIPTION = (
    "The job as calls: surveys, plan, readings, findings, what-if, report. "
    "Requests that change something carry the header `x-roomfield-client` with any value."
)

PAGES = Path(str(files("roomfield.show.words"))) / "locale" / "pages"
"""Catalogues of the texts of the pages."""


def create_app(
    records: Records | str,
    settings: Settings | None = None,
    *,
    demo: bool = False,
    first_compile: FirstCompile | None = None,
) -> FastAPI:
    """The pages and the API over one record.

    Parameters
    ----------
    records : Records or str
        The open record, or the file or URL to open.
    settings : Settings, optional
        Address, limits, access; loopback by default.
    demo : bool
        True to put the invented demonstration survey into the record if it is not there.
    first_compile : FirstCompile, optional
        The compilation that may still be running; pages say so.

    Raises
    ------
    StoreError
        If the record cannot be opened.
    """
    settings = settings or Settings()
    gate = Gate(settings)
    app = FastAPI(
        title="roomfield",
        description=DESCRIPTION,
        version="1",
        openapi_url="/api/openapi.json",
        docs_url=None,
        redoc_url=None,
        middleware=[Middleware(Guard, settings=settings, gate=gate), Middleware(GZipMiddleware, minimum_size=1500)],
    )
    app.state.records = open_records(records) if isinstance(records, str) else records
    app.state.settings = settings
    app.state.gate = gate
    app.state.benches = BenchShelf()
    app.state.works = LongWorks()
    app.state.practice = PracticeScans()
    app.state.nights = NightDesk(app.state.records)
    app.state.first_compile = first_compile or FirstCompile()
    for router in (*PAGE_ROUTERS, *API_ROUTERS):
        app.include_router(router)
    here = Path(str(files("roomfield.web")))
    app.mount("/static/locale", StaticFiles(directory=PAGES), name="locale")
    app.mount("/static", StaticFiles(directory=here / "static"), name="static")
    faults.install(app)
    if demo:
        demo_tour.begin(app.state.records)
    return app
