"""One module per page, each with `router(services, templates) -> APIRouter`."""
