"""One package for each part of the interface; a page is one module.

Comes in: requests; each module has `router(services, templates) -> APIRouter`.
Begin with: `topics.pile`; `web.app.MODULES` lists all of them.
"""
