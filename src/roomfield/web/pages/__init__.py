"""The pages, one module per step of the job."""

from roomfield.web.pages import (
    assignment_form,
    beforeafter,
    checklist,
    doors,
    entry,
    fieldpart,
    listen,
    log_pages,
    meter,
    nextstep,
    night_page,
    plan_editor,
    plan_sheet,
    practice_page,
    readings,
    report_pages,
    surveys,
    tour,
    understand,
    walk,
    whatif,
    work_pages,
)

ROUTERS = tuple(
    page.router
    for page in (
        doors,
        surveys,
        assignment_form,
        checklist,
        meter,
        plan_editor,
        walk,
        readings,
        entry,
        tour,
        listen,
        log_pages,
        night_page,
        understand,
        nextstep,
        fieldpart,
        whatif,
        beforeafter,
        report_pages,
        plan_sheet,
        work_pages,
        practice_page,
    )
)
