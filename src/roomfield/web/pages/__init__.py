"""The pages, one module per step of the job."""

from roomfield.web.pages import (
    assignment,
    beforeafter,
    doors,
    entry,
    fieldpart,
    listen,
    logs,
    meter,
    plan,
    readings,
    report,
    sheet,
    surveys,
    tour,
    understand,
    walk,
    whatif,
)

ROUTERS = tuple(
    page.router
    for page in (
        doors,
        surveys,
        assignment,
        meter,
        plan,
        walk,
        readings,
        entry,
        tour,
        listen,
        logs,
        understand,
        fieldpart,
        whatif,
        beforeafter,
        report,
        sheet,
    )
)
