"""The pages, one module per step of the job."""

from roomfield.web.pages import assignment, doors, fieldpart, plan, report, surveys, tour, understand, walk

ROUTERS = tuple(page.router for page in (doors, surveys, assignment, plan, walk, tour, understand, fieldpart, report))
