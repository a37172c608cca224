"""The pages, one module per step of the job."""

from roomfield.web.pages import assignment, doors, plan, surveys, tour, understand, walk

ROUTERS = (doors.router, surveys.router, assignment.router, plan.router, walk.router, tour.router, understand.router)
